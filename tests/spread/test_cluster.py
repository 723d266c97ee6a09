"""A Dask cluster of a scheduler and two workers gives what one process gives, also when a worker is killed."""

from __future__ import annotations

import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

import pytest

from benchctl.archive.folder import RunFolder
from benchctl.archive.reanalysis.kept import Kept, RunRow
from benchctl.archive.reanalysis.reanalyse import collection_of, reanalyse
from benchctl.clock import VirtualClock
from benchctl.errors import UsageError
from benchctl.spread.choosing import spread_over
from benchctl.spread.cluster import Cluster, cluster
from benchctl.spread.here import Here
from benchctl.spread.spread import Failure
from tests.archive.made_runs import measure_tone, two_tones
from tests.pages import ROOT
from tests.ports import free_port
from tests.spread.work import doubled

pytest.importorskip("distributed", reason="needs the extra `cluster`")
PATIENCE_S = 60
RUNS = 14


@dataclass(frozen=True)
class Started:
    """A scheduler's address, and the processes of its two workers."""

    scheduler: str
    workers: tuple[subprocess.Popen[bytes], subprocess.Popen[bytes]]


@pytest.fixture(scope="module")
def started(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Started]:
    """On this computer alone, without nannies, so that a worker which is killed stays dead."""
    folder = tmp_path_factory.mktemp("cluster")
    port = free_port()
    address = f"tcp://127.0.0.1:{port}"
    own = ["--no-dashboard", "--dashboard-address", "127.0.0.1:0"]
    with ExitStack() as stack:

        def start(*arguments: str) -> subprocess.Popen[bytes]:
            with (folder / "log").open("ab") as log:
                command = [sys.executable, "-m", "distributed.cli." + arguments[0], *arguments[1:], *own]
                process = subprocess.Popen(command, stdout=log, stderr=log, cwd=ROOT)
            stack.callback(process.wait)
            stack.callback(process.kill)
            return process

        start("dask_scheduler", "--host", "127.0.0.1", "--port", str(port))
        one, other = (
            start("dask_worker", address, "--nthreads", "1", "--no-nanny", "--local-directory", str(folder / name))
            for name in ("one", "other")
        )
        with cluster(address) as found:
            _await_two(found)
        yield Started(address, (one, other))


def _await_two(found: Cluster) -> None:
    until_s = time.monotonic() + PATIENCE_S
    while found.workers_left < 2:
        assert time.monotonic() < until_s
        time.sleep(0.01)


@pytest.fixture(scope="module")
def runs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A collection of small runs; one of them is damaged."""
    root, clock = tmp_path_factory.mktemp("runs"), VirtualClock()
    first = measure_tone(RunFolder.create(root, "Burst", "HX 2150", clock), clock, two_tones())
    for number in range(1, RUNS):
        shutil.copytree(first, root / f"{first.name}-{number:02}")
    (root / f"{first.name}-05" / "journal.jsonl").write_bytes(b"damaged\n")
    return root


def content(folder: Path) -> dict[str, str]:
    """Every file of the results, with the hash of what it holds."""
    files = sorted(path for path in folder.rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix(): sha256(path.read_bytes()).hexdigest() for path in files}


@pytest.fixture(scope="module")
def alone(runs: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The results of one process."""
    kept = Kept(tmp_path_factory.mktemp("alone"), runs)
    done = reanalyse(collection_of([runs]), kept, Here(1), lambda _: None)
    assert (len(done.rows), len(done.failed)) == (RUNS, 1)
    return content(kept.folder)


def test_two_processes_give_the_bytes_of_one(runs: Path, alone: dict[str, str], tmp_path: Path) -> None:
    reanalyse(collection_of([runs]), Kept(tmp_path, runs), Here(2), lambda _: None)
    assert content(tmp_path) == alone


def test_a_cluster_does_any_work_in_order_and_names_what_failed(started: Started) -> None:
    with cluster(started.scheduler) as found:
        results = dict(found.each(doubled, range(20)))
    failure = results.pop(13)
    assert isinstance(failure, Failure)
    assert failure.why == "ValueError: 13 cannot be doubled here"
    assert results == {number: 2 * number for number in range(20) if number != 13}
    assert list(results) == sorted(results)


def test_files_that_a_worker_sees_otherwise_are_refused(started: Started, tmp_path: Path) -> None:
    """Under /proc/self each process sees itself."""
    (tmp_path / "seen").write_bytes(b"the same everywhere")
    with cluster(started.scheduler) as found:
        found.require_sight_of([tmp_path / "seen"])
        with pytest.raises(UsageError, match=r"the worker tcp://127\.0\.0\.1:\d+ sees another file at /proc/self/stat"):
            found.require_sight_of([Path("/proc/self/stat")])


def test_a_cluster_gives_the_bytes_of_one_process_also_when_a_worker_is_killed_in_the_middle(
    started: Started, runs: Path, alone: dict[str, str], tmp_path: Path
) -> None:
    victim = started.workers[0]

    def kill_at_the_third(row: RunRow) -> None:
        told.append(row.name)
        if len(told) == 3:
            victim.kill()
            victim.wait()

    told: list[str] = []
    with cluster(started.scheduler) as found:
        assert found.workers == 2
        reanalyse(collection_of([runs]), Kept(tmp_path, runs), found, kill_at_the_third)
        assert found.workers_left == 1
    assert len(told) == RUNS
    assert told == sorted(told)
    assert content(tmp_path) == alone


def test_where_no_scheduler_is_the_advice_says_how_to_start_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("benchctl.spread.cluster._ANSWERS_WITHIN_S", 0.2)
    nobody = f"tcp://127.0.0.1:{free_port()}"
    with pytest.raises(UsageError, match="no scheduler answers at") as refused, spread_over(scheduler=nobody):
        pass
    assert "dask scheduler --host 127.0.0.1 --no-dashboard" in refused.value.advice


def test_without_the_library_it_is_said_how_to_install_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(UsageError, match="is not installed") as refused, spread_over(scheduler="tcp://127.0.0.1:1"):
        pass
    assert "benchctl[cluster]" in refused.value.advice


def test_processes_and_a_cluster_are_not_both_given() -> None:
    with pytest.raises(UsageError, match="--workers is for processes here"), spread_over(2, "tcp://127.0.0.1:1"):
        pass
