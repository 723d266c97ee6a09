"""All runs below a folder, each in short."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from benchctl.archive.collection.folders import NotRead, found_below
from benchctl.archive.collection.summary import RunSummary, summary_of, within
from benchctl.errors import ArchiveError, UsageError


@dataclass(frozen=True)
class Runs:
    """`runs` by folder; `not_read`: folders that are no run, or cannot be read as one."""

    runs: tuple[RunSummary, ...] = ()
    not_read: tuple[NotRead, ...] = ()


def runs_in(folder: Path) -> Runs:
    """Every run at or below `folder`, read from its folder. An index is quicker: `indexed.index`.

    Raises:
        UsageError: there is no such folder.
    """
    found, others = found_below(folder)
    read = [summary_or_why(each.path) for each in found]
    runs = tuple(each for each in read if isinstance(each, RunSummary))
    damaged = [each for each in read if isinstance(each, NotRead)]
    return Runs(runs, tuple(sorted([*others, *damaged], key=lambda other: other.path)))


def summary_or_why(path: Path) -> RunSummary | NotRead:
    """The run in short, or why it cannot be read."""
    try:
        return summary_of(path)
    except (ArchiveError, UsageError) as error:
        return NotRead(path, f"is damaged: {within(path, error.message)}")
