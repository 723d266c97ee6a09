"""Work on a Dask cluster: a scheduler that somebody has started, and the workers that are connected to it.

Whoever reaches a scheduler's port can run any code on its workers: it belongs on loopback, into a closed network, or
behind TLS.
"""

from __future__ import annotations

import pickle
import threading
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from benchctl.errors import ClusterError, UsageError
from benchctl.spread.program import hashes_of, program
from benchctl.spread.spread import AHEAD, Failure, Result, Task, attempted

# A scheduler that is there answers within a moment; a worker needs some seconds to start.
_ANSWERS_WITHIN_S = 10
_WORKER_WITHIN_S = 20
# How long a task may take before it is asked whether any worker is left.
_LOOK_EVERY_S = 30
_START_ONE = "Start one on each computer that is to work: dask worker {} --nthreads 1 --no-dashboard"
_INSTALL = "Install benchctl[cluster] there, in the environment that it was started from."
_GOES_ON = "Start it again and give the command once more."


class Cluster:
    """The workers of one scheduler."""

    def __init__(self, client: Any, scheduler: str) -> None:
        self._client = client
        self._scheduler = scheduler
        self.workers = self.workers_left

    @property
    def words(self) -> str:
        """Who works."""
        return f"{self.workers} {'worker' if self.workers == 1 else 'workers'} of {self._scheduler}"

    def require_sight_of(self, files: Sequence[Path]) -> None:
        """See `Spread.require_sight_of`."""
        here = hashes_of(files)
        for worker, seen in self._asked(hashes_of, files).items():
            for file, own, found in zip(files, here, seen, strict=True):
                if own != found:
                    what = "sees another file at" if found else "does not see"
                    raise UsageError(
                        f"the worker {worker} {what} {file}",
                        advice="Mount the folders at the same path on every computer of the cluster.",
                    )

    def require_same_program(self) -> None:
        """Make sure that scheduler and workers run the versions of this computer.

        Raises:
            UsageError: one does not.
        """
        try:
            _require_same(f"the scheduler {self._scheduler}", self._client.run_on_scheduler(program))
        except (ImportError, AttributeError, RuntimeError) as error:
            raise UsageError(
                f"the scheduler {self._scheduler} cannot run benchctl: {error}", advice=_INSTALL
            ) from error
        for worker, there in self._asked(program).items():
            _require_same(f"the worker {worker}", there)

    def each(
        self, work: Callable[[Task], Result], tasks: Iterable[Task]
    ) -> Generator[tuple[Task, Result | Failure], None, None]:
        """See `Spread.each`. What a worker had not finished when it went away is done by another one."""
        under_way: deque[tuple[Task, Any]] = deque()
        with _losses_told(self._scheduler):
            for task in tasks:
                under_way.append((task, self._client.submit(_one_at_a_time, pickle.dumps((work, task)), pure=False)))
                if len(under_way) >= AHEAD * self.workers:
                    yield self._ended(*under_way.popleft())
            while under_way:
                yield self._ended(*under_way.popleft())

    def _ended(self, task: Task, future: Any) -> tuple[Task, Any]:
        from distributed import KilledWorker  # noqa: PLC0415 - an extra

        try:
            return task, self._awaited(future)
        except KilledWorker:
            return task, Failure("each worker that worked on it ended: it was killed, or was out of memory")

    def _awaited(self, future: Any) -> Any:
        while True:
            try:
                return future.result(timeout=_LOOK_EVERY_S)
            except TimeoutError:
                if not self.workers_left:
                    raise ClusterError(
                        f"no worker is left at {self._scheduler}", advice=_START_ONE.format(self._scheduler)
                    ) from None

    @property
    def workers_left(self) -> int:
        """How many are connected now."""
        return len(self._client.scheduler_info(n_workers=-1)["workers"])

    def _asked(self, question: Callable[..., Any], *arguments: Any) -> Mapping[str, Any]:
        """The answer of each worker, by its address."""
        answers: Mapping[str, Any] = self._client.run(question, *arguments, on_error="return")
        for worker, answer in answers.items():
            if isinstance(answer, BaseException):
                raise UsageError(
                    f"the worker {worker} cannot run benchctl: {answer}",
                    advice=_INSTALL,
                )
        return answers


def _require_same(who: str, there: Mapping[str, str]) -> None:
    for name, own in program().items():
        if there.get(name) != own:
            raise UsageError(
                f"{who} has {name} {there.get(name, 'unknown')}, and this computer has {own}",
                advice="Install the same versions on every computer of the cluster.",
            )


@contextmanager
def cluster(scheduler: str) -> Iterator[Cluster]:
    """The cluster behind a scheduler's address, such as tcp://127.0.0.1:8786.

    Raises:
        UsageError: the library is not installed, nobody answers there, no worker is connected, or a worker runs another
            version.
    """
    try:
        import distributed  # noqa: PLC0415 - an extra
    except ImportError as error:
        raise UsageError(
            "--scheduler needs the library distributed, which is not installed",
            advice="Install it with: pip install 'benchctl[cluster]'. Without --scheduler, the processors here work.",
        ) from error
    new_client: Any = distributed.Client
    try:
        client = new_client(scheduler, timeout=_ANSWERS_WITHIN_S, set_as_default=False)
    except (OSError, ValueError, TypeError) as error:
        raise UsageError(
            f"no scheduler answers at {scheduler}: {error}",
            advice="Start one with: dask scheduler --host 127.0.0.1 --no-dashboard, and give the address it prints.",
        ) from error
    with client, _losses_told(scheduler):
        _await_a_worker(client, scheduler)
        found = Cluster(client, scheduler)
        found.require_same_program()
        yield found


def _await_a_worker(client: Any, scheduler: str) -> None:
    try:
        client.wait_for_workers(1, timeout=_WORKER_WITHIN_S)
    except TimeoutError:
        raise UsageError(f"no worker is connected to {scheduler}", advice=_START_ONE.format(scheduler)) from None


@contextmanager
def _losses_told(scheduler: str) -> Iterator[None]:
    """Turn the library's own errors into one of ours."""
    from distributed.client import FutureCancelledError  # noqa: PLC0415 - an extra
    from distributed.comm.core import CommClosedError  # noqa: PLC0415 - an extra

    try:
        yield
    except (CommClosedError, FutureCancelledError) as error:
        raise ClusterError(f"the scheduler at {scheduler} went away: {error}", advice=_GOES_ON) from error


_TURN = threading.Lock()


def _one_at_a_time(work_and_task: bytes) -> object:
    """A worker may have several threads. Work here counts on a process of its own, and threads of one process would not
    be any faster. The scheduler, which needs not know the work, sees bytes."""
    with _TURN:
        return attempted(_unpacked, work_and_task)


def _unpacked(work_and_task: bytes) -> object:
    work, task = pickle.loads(work_and_task)
    return work(task)
