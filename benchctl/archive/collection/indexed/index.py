"""All runs below a folder, from an index that is brought up to date first: only new and changed folders are read."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from benchctl.archive.collection.figure_rows import FigureTable
from benchctl.archive.collection.folders import FoundRun, NotRead, found_below
from benchctl.archive.collection.indexed.index_file import (
    TOLD_COLUMNS,
    index_in_memory,
    index_path,
    is_damaged,
    opened_index,
    remove,
)
from benchctl.archive.collection.indexed.renewing import Changes, bring_up_to_date, changes
from benchctl.archive.collection.indexed.side_by_side import others_reading, shares
from benchctl.archive.collection.indexed.stored import run_told, table_told
from benchctl.archive.collection.runs import Runs
from benchctl.archive.collection.summary import RunSummary

_READ = f"SELECT path, why, {', '.join(TOLD_COLUMNS)} FROM runs ORDER BY path"
_FIGURES = "SELECT path, rows FROM figures JOIN runs ON runs.id = figures.run WHERE figure = ?"


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
    figures: Mapping[Path, FigureTable] = field(default_factory=dict)
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
            return _up_to_date(connection, asked, Changes(found), f"no index can be kept at {path}: {error}")


@dataclass(frozen=True)
class _Asked:
    root: Path
    found: Sequence[FoundRun]
    others: Sequence[NotRead]
    figure: str
    on_reading: Callable[[int], None]

    def changes(self, connection: sqlite3.Connection) -> Changes:
        """What an index does not have as it is."""
        return changes(connection, self.found)


def _from_index(path: Path, asked: _Asked) -> Collection:
    with closing(opened_index(path)) as connection:
        changed = asked.changes(connection)
        if (of := shares(len(changed.fresh))) > 1:
            asked.on_reading(len(changed.fresh))
            with others_reading(asked.root, path, of):
                mine = changes(connection, asked.found[::of]).fresh
                bring_up_to_date(connection, Changes(mine))
            changed = asked.changes(connection)
        return _up_to_date(connection, asked, changed)


def _up_to_date(connection: sqlite3.Connection, asked: _Asked, changed: Changes, without_index: str = "") -> Collection:
    if changed.fresh:
        asked.on_reading(len(changed.fresh))
    bring_up_to_date(connection, changed)
    runs: list[RunSummary] = []
    not_read = list(asked.others)
    folders = {each.place: each.path for each in asked.found}
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


def _figures(connection: sqlite3.Connection, figure: str, folders: Mapping[str, Path]) -> dict[Path, FigureTable]:
    if not figure:
        return {}
    kept = connection.execute(_FIGURES, (figure,))
    return {folders[place]: table_told(figure, told) for place, told in kept if place in folders}


def _figure_names(connection: sqlite3.Connection) -> frozenset[str]:
    return frozenset(name for (name,) in connection.execute("SELECT DISTINCT figure FROM figures"))
