"""All runs of a folder, each opened when it is asked for."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import overload

import pandas as pd

from benchctl.archive.collection.folders import found_below
from benchctl.archive.files import disk_errors
from benchctl.archive.folder import RunFolder
from benchctl.archive.tables.figures_csv import COLUMNS, KINDS, UNITS
from benchctl.errors import BenchctlError
from benchctl.library import runs_root
from benchctl.python.opened_run import OpenedRun, open_run


class OpenedRuns(Sequence[OpenedRun]):
    """The runs at or below a folder in the order of their names, which is that of time.

    Use `benchctl.open_runs` to make one. A run is read when it is asked for, and not kept.
    """

    def __init__(self, folder: Path, *, with_owner: bool) -> None:
        self._folder = folder
        self._with_owner = with_owner
        found, others = found_below(folder)
        reasons = {each.path: _why_not(each.path) for each in found}
        self._paths = sorted((path for path, reason in reasons.items() if not reason), key=lambda path: path.name)
        self._left_out = {other.path: other.why for other in others} | {
            path: reason for path, reason in reasons.items() if reason
        }

    @property
    def folder(self) -> Path:
        """Where they are."""
        return self._folder

    @property
    def left_out(self) -> dict[Path, str]:
        """Each folder here that is no run folder, or whose journal cannot be read, and why."""
        return dict(self._left_out)

    @property
    def damaged(self) -> dict[Path, tuple[str, ...]]:
        """Each run of which something cannot be read or was changed, and what. All runs are read for it."""
        found = {run.folder: (*run.missing, *run.changed) for run in self}
        return {path: sentences for path, sentences in found.items() if sentences}

    @property
    def figures(self) -> pd.DataFrame:
        """The figures of all runs in one frame: the column `folder`, and then those of `OpenedRun.figures`."""
        frames = [_with_folder(run.figures, run.name) for run in self]
        empty = pd.DataFrame(columns=list(COLUMNS)).astype(KINDS)
        frames = [frame for frame in frames if len(frame)] or [_with_folder(empty, "")]
        together = pd.concat(frames, ignore_index=True)
        together.attrs["units"] = dict(UNITS)
        return together

    @overload
    def __getitem__(self, index: int) -> OpenedRun: ...
    @overload
    def __getitem__(self, index: slice) -> Sequence[OpenedRun]: ...
    def __getitem__(self, index: int | slice) -> OpenedRun | Sequence[OpenedRun]:
        """One run, or a list of several; ArchiveError where one has gone since."""
        if isinstance(index, slice):
            return [self._open(path) for path in self._paths[index]]
        return self._open(self._paths[index])

    def __iter__(self) -> Iterator[OpenedRun]:
        return (self._open(path) for path in self._paths)

    def __len__(self) -> int:
        return len(self._paths)

    def __repr__(self) -> str:
        left_out = f", {len(self._left_out)} other folders left out" if self._left_out else ""
        return f"<{len(self)} runs in {self.folder}{left_out}>"

    def _open(self, path: Path) -> OpenedRun:
        return open_run(path, with_owner=self._with_owner)


def _why_not(path: Path) -> str:
    """Why a folder cannot be opened as a run; empty if it can."""
    try:
        with disk_errors("read", path), RunFolder.open(path).journal.open("rb") as journal:
            journal.read(1)
    except BenchctlError as error:
        return error.message
    return ""


def _with_folder(figures: pd.DataFrame, name: str) -> pd.DataFrame:
    figures.insert(0, "folder", name)
    return figures


def open_runs(folder: str | Path | None = None, *, with_owner: bool = False) -> OpenedRuns:
    """Open all run folders at or below a folder.

    Args:
        folder: where the run folders are: `runs`, or what the variable BENCHCTL_RUNS names, if left out.
        with_owner: as in `open_run`.

    Raises:
        UsageError: there is no such folder.
    """
    return OpenedRuns(runs_root() if folder is None else Path(folder), with_owner=with_owner)
