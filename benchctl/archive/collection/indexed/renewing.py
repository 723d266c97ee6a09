"""Brings an index up to date with the run folders: what is gone is forgotten, what is new or changed is read."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from benchctl.archive.collection.folders import FoundRun, NotRead, Stamp
from benchctl.archive.collection.indexed.index_file import RUN_COLUMNS, TOLD_COLUMNS, writing
from benchctl.archive.collection.indexed.stored import figures_told, told_of
from benchctl.archive.collection.runs import summary_or_why
from benchctl.archive.folder import RunFolder
from benchctl.archive.folder_lock import is_being_written
from benchctl.errors import ArchiveError

# So many folders are read, and then written into the index at once.
_AT_ONCE = 500
_NO_END = ("running", "killed")

_KNOWN = "SELECT path, ending, journal_ns, journal_bytes, figures_ns, figures_bytes FROM runs"
_ADD_RUN = f"INSERT INTO runs VALUES (NULL, {', '.join('?' * (len(RUN_COLUMNS) - 1))})"
_ADD_FIGURES = "INSERT INTO figures VALUES (?, ?, ?)"
_FORGET_FIGURES = "DELETE FROM figures WHERE run = (SELECT id FROM runs WHERE path = ?)"
_FORGET_RUN = "DELETE FROM runs WHERE path = ?"


@dataclass(frozen=True)
class Changes:
    """What an index does not have as it is: folders that are new or changed, and those that are gone."""

    fresh: Sequence[FoundRun]
    gone: Sequence[str] = ()


def changes(connection: sqlite3.Connection, found: Sequence[FoundRun]) -> Changes:
    """What has changed since the index was brought up to date, if `found` are all folders there are."""
    known = {place: (ending, Stamp(*stamp)) for place, ending, *stamp in connection.execute(_KNOWN)}
    fresh = [each for each in found if _has_changed(each, known.pop(each.place, None))]
    return Changes(fresh, list(known))


def bring_up_to_date(connection: sqlite3.Connection, changed: Changes) -> None:
    """Forget what is gone, and read what is new or changed."""
    if changed.gone:
        with writing(connection):
            _forget(connection, changed.gone)
    for start in range(0, len(changed.fresh), _AT_ONCE):
        read = [_read(each) for each in changed.fresh[start : start + _AT_ONCE]]
        with writing(connection):
            _forget(connection, [each.place for each in read])
            for each in read:
                each.add_to(connection)


def _has_changed(found: FoundRun, known: tuple[str, Stamp] | None) -> bool:
    """Of a run without an end no file shows that nobody writes it any more, or that somebody goes on with it."""
    if known is None or known[1] != found.stamp:
        return True
    ending = known[0]
    return ending in _NO_END and (ending == "running") != _is_running(found.path)


def _is_running(folder: Path) -> bool:
    try:
        return is_being_written(RunFolder(folder))
    except ArchiveError:
        return False


def _forget(connection: sqlite3.Connection, places: Sequence[str]) -> None:
    for statement in (_FORGET_FIGURES, _FORGET_RUN):
        connection.executemany(statement, [(place,) for place in places])


@dataclass(frozen=True)
class _Read:
    """What is to be written of one folder."""

    place: str
    run: tuple[object, ...]
    figures: Sequence[tuple[str, str]] = ()

    def add_to(self, connection: sqlite3.Connection) -> None:
        run = connection.execute(_ADD_RUN, self.run).lastrowid
        connection.executemany(_ADD_FIGURES, [(run, name, rows) for name, rows in self.figures])


def _read(found: FoundRun) -> _Read:
    place, told = found.place, summary_or_why(found.path)
    if isinstance(told, NotRead):
        return _Read(place, (place, *found.stamp, told.why, *[None] * len(TOLD_COLUMNS)))
    return _Read(place, (place, *found.stamp, "", *told_of(told)), list(figures_told(told.figures)))
