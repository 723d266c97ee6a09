"""What every way to spread work has in common: what it is asked, and what becomes of one piece of the work."""

from __future__ import annotations

import os
import traceback
from collections.abc import Callable, Generator, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol, TypeVar

Task = TypeVar("Task")
Result = TypeVar("Result")

# Tasks that are given out for each worker: one at work, and enough in wait while the results before it are awaited.
AHEAD = 4


@dataclass(frozen=True)
class Failure:
    """Why a task has no result. `details` is the traceback of an error in the program; empty where the process ended
    that was at work."""

    why: str
    details: str = ""


class Spread(Protocol):
    """Somebody who does the work. `workers` is how many tasks are worked on at once, `words` who does it."""

    @property
    def workers(self) -> int:
        """How many tasks are worked on at once."""

    @property
    def words(self) -> str:
        """Who works, in words."""

    def require_sight_of(self, files: Sequence[Path]) -> None:
        """Make sure that every worker reads these files, and the same content in them.

        Raises:
            UsageError: one does not.
        """

    def each(
        self, work: Callable[[Task], Result], tasks: Iterable[Task]
    ) -> Generator[tuple[Task, Result | Failure], None, None]:
        """Each task with its result, in the order of the tasks, however many work on them.

        At most `AHEAD` tasks for each worker are taken from `tasks` before their turn, so memory does not grow with
        their number. `work` is a function of a module; it and its tasks are pickled. An exception in it is the failure
        of that task alone.
        """


def attempted(work: Callable[[Task], Result], task: Task) -> Result | Failure:
    """The result of one task, or why there is none."""
    try:
        return work(task)
    except Exception as error:  # noqa: BLE001 - told as the failure of this task; the others go on
        return Failure(f"{type(error).__name__}: {error}", traceback.format_exc())


def processors() -> int:
    """How many this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
