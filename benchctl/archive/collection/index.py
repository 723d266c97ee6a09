"""All runs below a folder, from an index that is brought up to date first: only new and changed folders are read."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from benchctl.archive.collection.figure_rows import FigureRow
from benchctl.archive.collection.folders import FoundRun, NotRead, Stamp, found_below
from benchctl.archive.collection.index_file import (
    RUN_COLUMNS,
    TOLD_COLUMNS,
    index_in_memory,
    index_path,
    is_damaged,
    opened_index,
    remove,
    writing,
)
from benchctl.archive.collection.runs import Runs, summary_or_why
from benchctl.archive.collection.stored import figures_told, rows_told, run_told, told_of
from benchctl.archive.collection.summary import RunSummary
from benchctl.archive.folder import RunFolder
from benchctl.archive.folder_lock import is_being_written
from benchctl.errors import ArchiveError

# So many folders are read, and then written into the index at once.
_AT_ONCE = 1000
_NO_END = ("running", "killed")

_KNOWN = "SELECT path, ending, journal_ns, journal_bytes, figures_ns, figures_bytes FROM runs"
_READ = f"SELECT path, why, {', '.join(TOLD_COLUMNS)} FROM runs ORDER BY path"
_ADD_RUN = f"INSERT INTO runs VALUES (NULL, {', '.join('?' * (len(RUN_COLUMNS) - 1))})"
_ADD_FIGURES = "INSERT INTO figures VALUES (?, ?, ?)"
_FIGURES = "SELECT path, rows FROM figures JOIN runs ON runs.id = figures.run WHERE figure = ?"
_FORGET_FIGURES = "DELETE FROM figures WHERE run = (SELECT id FROM runs WHERE path = ?)"
_FORGET_RUN = "DELETE FROM runs WHERE path = ?"


@dataclass(frozen=True)
class Collection(Runs):
    """Runs without their figures, by folder.

    Attributes:
        root: the folder that was looked into.
        figures: the figures of the name that was asked for, by run folder.
        figure_names: of all runs; empty where no figure was asked for.
        without_index: why no index could be kept; '' where it is.
    """

    root: Path = field(default=Path())
    figures: Mapping[Path, Sequence[FigureRow]] = field(default_factory=dict)
    figure_names: frozenset[str] = frozenset()
    without_index: str = ""


def collection_of(
    root: Path,
    figure: str = "",
    *,
    index: Path | None = None,
    on_reading: Callable[[int], None] = lambda _count: None,
) -> Collection:
    """The runs at or below `root`.

    Args:
        root: the folder of runs.
        figure: the name of a figure that is wanted of each run.
        index: the file of the index; in the user's cache if left out.
        on_reading: is told how many folders are about to be read, which takes about a millisecond for each.

    Raises:
        UsageError: there is no such folder.
    """
    found, others = found_below(root)
    asked = _Asked(root, found, others, figure, on_reading)
    path = index or index_path(root)
    try:
        try:
            return _from_index(path, asked)
        except sqlite3.Error as error:
            if not is_damaged(error):
                raise
            remove(path)
            return _from_index(path, asked)
    except (sqlite3.Error, OSError) as error:
        with closing(index_in_memory()) as connection:
            return _up_to_date(connection, asked, f"no index can be kept at {path}: {error}")


@dataclass(frozen=True)
class _Asked:
    root: Path
    found: Sequence[FoundRun]
    others: Sequence[NotRead]
    figure: str
    on_reading: Callable[[int], None]

    def place(self, folder: Path) -> str:
        """A folder as the index names it: seen from the root."""
        if folder == self.root:
            return "."
        place = str(folder)[len(str(self.root)) + 1 :].replace(os.sep, "/")
        return place.encode("utf-8", "backslashreplace").decode("utf-8")  # a name that is no text has no UTF-8 form


def _from_index(path: Path, asked: _Asked) -> Collection:
    with closing(opened_index(path)) as connection:
        return _up_to_date(connection, asked)


def _up_to_date(connection: sqlite3.Connection, asked: _Asked, without_index: str = "") -> Collection:
    _renew(connection, asked)
    runs: list[RunSummary] = []
    not_read = list(asked.others)
    folders = {asked.place(each.path): each.path for each in asked.found}
    for place, why, *told in connection.execute(_READ):
        folder = folders.get(place)
        if folder is None:  # another process has found it since
            continue
        if why:
            not_read.append(NotRead(folder, why))
        else:
            runs.append(run_told(folder, told))
    return Collection(
        tuple(runs),
        tuple(sorted(not_read, key=lambda other: other.path)),
        asked.root,
        _figures(connection, asked.figure, folders),
        _figure_names(connection) if asked.figure else frozenset(),
        without_index,
    )


def _figures(
    connection: sqlite3.Connection, figure: str, folders: Mapping[str, Path]
) -> dict[Path, Sequence[FigureRow]]:
    if not figure:
        return {}
    kept = connection.execute(_FIGURES, (figure,))
    return {folders[place]: rows_told(figure, told) for place, told in kept if place in folders}


def _figure_names(connection: sqlite3.Connection) -> frozenset[str]:
    return frozenset(name for (name,) in connection.execute("SELECT DISTINCT figure FROM figures"))


def _renew(connection: sqlite3.Connection, asked: _Asked) -> None:
    known = {place: (ending, Stamp(*stamp)) for place, ending, *stamp in connection.execute(_KNOWN)}
    places = {asked.place(each.path) for each in asked.found}
    gone = [place for place in known if place not in places]
    fresh = [each for each in asked.found if _has_changed(each, known.get(asked.place(each.path)))]
    if gone:
        with writing(connection):
            _forget(connection, gone)
    if fresh:
        asked.on_reading(len(fresh))
    for start in range(0, len(fresh), _AT_ONCE):
        read = [_read(asked.place(each.path), each) for each in fresh[start : start + _AT_ONCE]]
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


def _read(place: str, found: FoundRun) -> _Read:
    told = summary_or_why(found.path)
    if isinstance(told, NotRead):
        return _Read(place, (place, *found.stamp, told.why, *[None] * len(TOLD_COLUMNS)))
    return _Read(place, (place, *found.stamp, "", *told_of(told)), list(figures_told(told.figures)))
