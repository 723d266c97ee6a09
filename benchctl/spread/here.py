"""Work on this computer: in this process where there is one worker, else in processes of their own."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from pathlib import Path

from benchctl.spread.spread import AHEAD, Failure, Result, Task, attempted

# Each worker uses one processor. The libraries behind numpy would start a thread for each processor in each worker.
_ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")


class Here:
    """Processes of this computer."""

    def __init__(self, workers: int) -> None:
        self.workers = workers

    @property
    def words(self) -> str:
        """Who works."""
        return "1 process here" if self.workers == 1 else f"{self.workers} processes here"

    def require_sight_of(self, files: Sequence[Path]) -> None:
        """Processes of this computer see what this one sees."""

    def each(
        self, work: Callable[[Task], Result], tasks: Iterable[Task]
    ) -> Generator[tuple[Task, Result | Failure], None, None]:
        """See `Spread.each`."""
        if self.workers == 1:
            return ((task, attempted(work, task)) for task in tasks)
        return self._by_processes(work, tasks)

    def _by_processes(
        self, work: Callable[[Task], Result], tasks: Iterable[Task]
    ) -> Generator[tuple[Task, Result | Failure], None, None]:
        under_way: deque[tuple[Task, Future[Result | Failure]]] = deque()
        with _pool(self.workers) as pool:
            for task in tasks:
                under_way.append((task, pool.give(work, task)))
                if len(under_way) >= AHEAD * self.workers:
                    yield _ended(work, *under_way.popleft())
            while under_way:
                yield _ended(work, *under_way.popleft())


class _Pool:
    """Processes that are replaced when one of them has died: the library gives up all of them then."""

    def __init__(self, workers: int) -> None:
        self._workers = workers
        self._executor = _executor(workers)

    def give(self, work: Callable[[Task], Result], task: Task) -> Future[Result | Failure]:
        try:
            return self._executor.submit(attempted, work, task)
        except BrokenProcessPool:
            self.close()
            self._executor = _executor(self._workers)
            return self._executor.submit(attempted, work, task)

    def close(self) -> None:
        self._executor.shutdown(cancel_futures=True)


@contextmanager
def _pool(workers: int) -> Iterator[_Pool]:
    with _environment(_ONE_THREAD):
        pool = _Pool(workers)
        try:
            yield pool
        finally:
            pool.close()


def _executor(workers: int) -> ProcessPoolExecutor:
    spawn = multiprocessing.get_context("spawn")  # a fork would copy locks that threads of this process hold
    return ProcessPoolExecutor(workers, mp_context=spawn, initializer=_begin_worker)


def _ended(
    work: Callable[[Task], Result], task: Task, future: Future[Result | Failure]
) -> tuple[Task, Result | Failure]:
    """A process that dies takes the tasks of all others along. Each of them is then done again in a process of its own,
    so that only the one that kills its process fails."""
    try:
        return task, future.result()
    except BrokenProcessPool:
        return task, _alone(work, task)


def _alone(work: Callable[[Task], Result], task: Task) -> Result | Failure:
    with _executor(1) as executor:
        try:
            return executor.submit(attempted, work, task).result()
        except BrokenProcessPool:
            return Failure("the process that worked on it ended: it was killed, or was out of memory")


def _begin_worker() -> None:
    """Ctrl-C is for the process that gives out the work; and when that one dies, its workers do too."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    if (parent := multiprocessing.parent_process()) is not None:
        parent.join()
        os._exit(1)


@contextmanager
def _environment(values: dict[str, str]) -> Iterator[None]:
    """For processes that are started meanwhile; whoever has set one of these keeps it."""
    added = {name: value for name, value in values.items() if name not in os.environ}
    os.environ.update(added)
    try:
        yield
    finally:
        for name in added:
            os.environ.pop(name, None)
