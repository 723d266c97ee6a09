"""Which run folders there are below a folder, and what there is that is none."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from benchctl.archive.folder import CAPTURES, INPUTS
from benchctl.errors import UsageError

# Runs are sorted into folders by customer, year and month; more levels are a disk, and not a collection.
DEEPEST = 6

_JOURNAL, _FIGURES = "journal.jsonl", "figures.csv"
_NO_FILE = (-1, -1)


class Stamp(NamedTuple):
    """By what it shows that a run folder has changed since it was read: time (ns) and size of two files; -1 of a file
    that is not there."""

    journal_ns: int
    journal_bytes: int
    figures_ns: int
    figures_bytes: int


class FoundRun(NamedTuple):
    """A folder with a journal. `place`: where it is, seen from the folder that was looked into, as text for any
    file."""

    path: Path
    place: str
    stamp: Stamp


@dataclass(frozen=True)
class NotRead:
    """A folder that is no run, or cannot be read as one, and why."""

    path: Path
    why: str

    def __str__(self) -> str:
        return f"{self.path}: {self.why}"


def found_below(root: Path) -> tuple[list[FoundRun], list[NotRead]]:
    """The run folders at or below `root` by path, and the folders there that hold none. Hidden folders do not count.

    Raises:
        UsageError: there is no folder at `root`.
    """
    if not root.is_dir():
        raise UsageError(
            f"there is no folder {root}", advice="Give the folder in which runs are made; benchctl run makes runs/."
        )
    found: list[FoundRun] = []
    others: list[NotRead] = []
    if stamp := _stamp(str(root)):
        return [FoundRun(root, ".", stamp)], []
    _look_into(str(root), "", found, others, DEEPEST)
    return sorted(found), sorted(others, key=lambda other: other.path)


def _look_into(folder: str, place: str, found: list[FoundRun], others: list[NotRead], deeper: int) -> None:
    """Add what is in a folder that is no run itself."""
    try:
        names = sorted(_folders_in(folder))
    except OSError as error:
        others.append(NotRead(Path(folder), f"cannot be read: {error.strerror or error}"))
        return
    for name in names:
        path = os.path.join(folder, name)
        if stamp := _stamp(path):
            found.append(FoundRun(Path(path), _as_text(f"{place}{name}"), stamp))
        elif name != INPUTS:
            _look_into_other(path, f"{place}{name}/", found, others, deeper - 1)


def _as_text(place: str) -> str:
    """A name that is no text has no UTF-8 form."""
    return place if place.isascii() else place.encode("utf-8", "backslashreplace").decode("utf-8")


def _look_into_other(path: str, place: str, found: list[FoundRun], others: list[NotRead], deeper: int) -> None:
    if os.path.isdir(os.path.join(path, CAPTURES)) and os.path.isdir(os.path.join(path, INPUTS)):
        others.append(NotRead(Path(path), "holds no journal.jsonl: its run was cut off at once, or the file was moved"))
        return
    before = len(found), len(others)
    if deeper > 0 and not os.path.islink(path):
        _look_into(path, place, found, others, deeper)
    if (len(found), len(others)) == before:
        others.append(NotRead(Path(path), "is not a run folder: it holds no journal.jsonl"))


def _folders_in(folder: str) -> Iterator[str]:
    with os.scandir(folder) as entries:
        yield from (entry.name for entry in entries if not entry.name.startswith(".") and entry.is_dir())


def _stamp(folder: str) -> Stamp | None:
    """None if there is no journal."""
    journal = _time_and_size(f"{folder}{os.sep}{_JOURNAL}")
    return None if journal == _NO_FILE else Stamp(*journal, *_time_and_size(f"{folder}{os.sep}{_FIGURES}"))


def _time_and_size(file: str) -> tuple[int, int]:
    try:
        found = os.stat(file)
    except OSError:
        return _NO_FILE
    return found.st_mtime_ns, found.st_size
