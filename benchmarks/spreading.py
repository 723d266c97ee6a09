"""The runs of a campaign, by all processors here or by a cluster, with a line that shows how far it is.

What a campaign draws follows from the seed of each run alone, and results come in the order of the runs. So they are
the same however many work. On a cluster every worker must see this checkout at the same path, and have it on its path:
`PYTHONPATH=/srv/benchctl dask worker ...`.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

import click
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from benchctl.errors import UsageError
from benchctl.spread.choosing import spread_over
from benchctl.spread.spread import Failure, Result, Spread, Task


@contextmanager
def campaign(workers: int | None, scheduler: str) -> Iterator[Spread]:
    """Who performs the runs.

    Raises:
        click.UsageError: the cluster cannot be used, or a worker has another checkout.
    """
    try:
        with spread_over(workers, scheduler) as spread:
            spread.require_sight_of(sorted(Path(__file__).parent.rglob("*.py")))
            yield spread
    except UsageError as error:
        raise click.UsageError(f"{error.message}. {error.advice}") from error


def performed(
    spread: Spread, work: Callable[[Task], Result], tasks: Sequence[Task], words: str
) -> Generator[tuple[Task, Result | Failure], None, None]:
    """Each task with its result, in the order of the tasks."""
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True)) as progress:
        line = progress.add_task(f"{words}, {spread.words}", total=len(tasks))
        for each in spread.each(work, tasks):
            progress.advance(line)
            yield each


def in_own_folder(work: Callable[[Task, Path], Result]) -> Callable[[Task], Result]:
    """The work with a folder that is there while it lasts, on whichever computer it is done."""
    return partial(_in_own_folder, work)


def _in_own_folder(work: Callable[[Task, Path], Result], task: Task) -> Result:
    with TemporaryDirectory() as folder:
        return work(task, Path(folder))
