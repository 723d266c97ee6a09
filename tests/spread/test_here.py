"""Work by processes of this computer: its results come in order, and one that fails is one that fails."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from benchctl.spread.here import Here
from benchctl.spread.spread import AHEAD, Failure
from tests.pages import ROOT
from tests.spread.work import doubled, kills_at_three

PATIENCE_S = 60


@pytest.mark.parametrize("workers", [1, 2])
def test_results_come_in_the_order_of_the_tasks_and_an_error_is_that_of_its_task_alone(workers: int) -> None:
    taken: list[int] = []

    def tasks() -> Iterator[int]:
        for number in range(40):
            taken.append(number)
            yield number

    most_ahead = 0
    results: dict[int, int | Failure] = {}
    for task, result in Here(workers).each(doubled, tasks()):
        results[task] = result
        most_ahead = max(most_ahead, len(taken) - len(results))
    failure = results.pop(13)
    assert isinstance(failure, Failure)
    assert failure.why == "ValueError: 13 cannot be doubled here"
    assert "work.py" in failure.details
    assert results == {number: 2 * number for number in range(40) if number != 13}
    assert list(results) == sorted(results)
    assert most_ahead <= AHEAD * workers, "tasks are taken when their turn comes, however many there are"


def test_a_task_that_ends_its_process_fails_and_takes_no_other_along() -> None:
    results = dict(Here(2).each(kills_at_three, range(10)))
    failure = results.pop(3)
    assert isinstance(failure, Failure)
    assert "the process that worked on it ended" in failure.why
    assert results == {number: number for number in range(10) if number != 3}


@pytest.mark.skipif(sys.platform == "win32", reason="looks for processes as POSIX has them")
def test_workers_end_with_the_process_that_gave_them_work_however_that_ended(tmp_path: Path) -> None:
    told = tmp_path / "processes"
    told.touch()
    command = [sys.executable, "-m", "tests.spread.work", str(told)]
    with subprocess.Popen(command, cwd=ROOT) as parent:
        workers = _awaited(lambda: told.read_text().split(), 2)
        parent.kill()
    try:
        assert _awaited(lambda: [pid for pid in workers if not _is_there(int(pid))], 2) == workers
    finally:
        for pid in filter(_is_there, map(int, workers)):
            os.kill(pid, signal.SIGKILL)


def _awaited(look: object, count: int) -> list[str]:
    """What `look` finds, once it is so many."""
    until_s = time.monotonic() + PATIENCE_S
    while len(found := look()) < count:  # type: ignore[operator]
        assert time.monotonic() < until_s, f"only {found}"
        time.sleep(0.01)
    return list(found)


def _is_there(pid: int) -> bool:
    """Whether the process is at work; one that has ended and whose parent has not looked is not."""
    try:
        os.kill(pid, 0)
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except (ProcessLookupError, FileNotFoundError):
        return False
