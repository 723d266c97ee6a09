"""All runs of a collection computed again: who does which, what is kept, and what came of it in all."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path

from benchctl.archive.collection.folders import NotRead, found_below
from benchctl.archive.folder import RunFolder
from benchctl.archive.reanalysis.kept import Kept, RunRow
from benchctl.archive.reanalysis.one_run import RunResult, RunTask, compute_run
from benchctl.errors import UsageError
from benchctl.measure.method import METHOD
from benchctl.spread.spread import Failure, Spread

Told = Callable[[RunRow], None]


@dataclass(frozen=True)
class Done:
    """The rows of the runs of a collection, in the order of names; of `as_before` of them an earlier call had done all
    there is to do."""

    rows: Sequence[RunRow]
    as_before: int

    @property
    def failed(self) -> list[RunRow]:
        """The runs that could not be computed."""
        return [row for row in self.rows if row.error]

    def count(self, column: str) -> int:
        """The sum of a column of numbers of runs.csv."""
        return sum(row.count(column) for row in self.rows)


@dataclass(frozen=True)
class Collection:
    """Run folders, the folder that all of them are in, however deep, and what there is beside them that is no run."""

    root: Path
    runs: Sequence[Path]
    not_read: Sequence[NotRead] = ()

    def name_of(self, run: Path) -> str:
        """A run's folder below the root, with forward slashes."""
        return run.relative_to(self.root).as_posix()


def default_folder(root: Path) -> Path:
    """Where results go if nobody says otherwise: where the command is given, for a collection may be read-only."""
    return root / "reanalysis" / f"method-{METHOD}-version-{version('benchctl')}"


def collection_of(places: Sequence[Path]) -> Collection:
    """The run folders that are named, and those in folders that are named.

    Raises:
        UsageError: there is none.
    """
    found = [found_below(place.resolve()) for place in places]
    runs = sorted({run.path for below, _ in found for run in below})
    if not runs:
        raise UsageError(
            f"there is no run in {', '.join(str(place) for place in places)}",
            advice="Name a run folder, or a folder of them such as runs.",
        )
    return Collection(
        Path(os.path.commonpath([run.parent for run in runs])), runs, [other for _, others in found for other in others]
    )


def reanalyse(collection: Collection, kept: Kept, spread: Spread, told: Told) -> Done:
    """Compute each run again that is not done yet, and keep what came of it.

    Args:
        collection: the runs.
        kept: where results are kept.
        spread: who does the work.
        told: is told of each run once it is kept, in the order of names.

    Raises:
        UsageError: a worker does not see the runs.
        ClusterError: the cluster is gone; what is done is kept.
        ArchiveError: results cannot be written.
    """
    spread.require_sight_of([RunFolder(collection.runs[0]).journal])
    rows: list[RunRow] = []
    as_before = 0
    with closing(kept), closing(spread.each(compute_run, _tasks(collection, kept))) as computed:
        for task, outcome in computed:
            result = _of_failure(outcome)
            rows.append(kept.keep(task.name, result))
            as_before += result.is_as_before
            told(rows[-1])
        kept.finish()
    return Done(rows, as_before)


def _tasks(collection: Collection, kept: Kept) -> Iterator[RunTask]:
    for run in collection.runs:
        name = collection.name_of(run)
        yield RunTask(name, run, kept.done(name))


def _of_failure(result: RunResult | Failure) -> RunResult:
    if not isinstance(result, Failure):
        return result
    last = result.details.strip().splitlines()[-3:-1]  # where in the program
    return RunResult(error=" ".join([result.why, *map(str.strip, last)]))
