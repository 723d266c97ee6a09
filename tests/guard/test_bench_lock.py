"""Two runs never share an instrument, and a lock never outlives whoever holds it."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from benchctl.errors import PreflightRefused, UsageError
from benchctl.guard.bench_lock import BenchLock, bench_lock, hold_if_free, lock_paths, state_folder

SUPPLY = "TCPIP::192.0.2.7::5025::SOCKET"
GENERATOR = "TCPIP::192.0.2.8::5025::SOCKET"


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A home of this test's own."""
    for name in ("XDG_STATE_HOME", "LOCALAPPDATA", "HOME", "USERPROFILE"):
        monkeypatch.setenv(name, str(tmp_path))
    assert tmp_path in state_folder().parents
    return tmp_path


def test_a_second_run_is_told_who_has_the_bench() -> None:
    with bench_lock([SUPPLY]) as lock:
        lock.tell("/somewhere/runs/20261124-221003-quick-check")
        with pytest.raises(PreflightRefused) as refused, bench_lock([SUPPLY]):
            pass
    assert f"process {os.getpid()}" in str(refused.value)
    assert "/somewhere/runs/20261124-221003-quick-check" in str(refused.value)


def test_one_instrument_in_common_is_one_too_many() -> None:
    with bench_lock([SUPPLY, GENERATOR]), pytest.raises(PreflightRefused), bench_lock([GENERATOR]):
        pass


def test_who_is_refused_keeps_nothing_locked() -> None:
    other = "TCPIP::192.0.2.6::5025::SOCKET"
    with bench_lock([SUPPLY]):
        with pytest.raises(PreflightRefused), bench_lock([other, SUPPLY]):
            pass
        with bench_lock([other]):
            pass


def test_a_lock_that_was_let_go_of_can_be_taken() -> None:
    with bench_lock([SUPPLY]):
        pass
    with bench_lock([SUPPLY]):
        pass


def test_a_lock_dies_with_the_process_that_held_it() -> None:
    hold = (
        "import sys, time; from benchctl.guard.bench_lock import bench_lock\n"
        "with bench_lock([sys.argv[1]]): print('held', flush=True); time.sleep(600)"
    )
    with subprocess.Popen([sys.executable, "-c", hold, SUPPLY], stdout=subprocess.PIPE) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline().strip() == b"held"
        with pytest.raises(PreflightRefused, match=f"process {holder.pid}"), bench_lock([SUPPLY]):
            pass
        holder.kill()
    with bench_lock([SUPPLY]):
        pass


@pytest.mark.parametrize(
    "other",
    [
        "tcpip::192.0.2.7::5025::socket",
        "TCPIP0::192.0.2.7::5025::SOCKET",
        " TCPIP::192.0.2.7::5025::SOCKET ",
    ],
)
def test_the_same_address_written_otherwise_is_the_same_instrument(other: str) -> None:
    assert lock_paths([other]) == lock_paths([SUPPLY])


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("GPIB::7", "GPIB0::7::INSTR"),
        ("TCPIP::localhost::15024::SOCKET", "TCPIP::127.0.0.1::15024::SOCKET"),
        ("USB::0x1AB1::0x0E11::DP8A0001::INSTR", "USB0::0x1ab1::0x0e11::DP8A0001"),
    ],
)
def test_what_goes_without_saying_makes_no_other_instrument(one: str, other: str) -> None:
    assert lock_paths([one]) == lock_paths([other])


@pytest.mark.parametrize("other", ["TCPIP::192.0.2.7::5026::SOCKET", "TCPIP1::192.0.2.7::5025::SOCKET"])
def test_another_port_or_board_is_another_instrument(other: str) -> None:
    assert lock_paths([other]) != lock_paths([SUPPLY])


def test_locks_are_taken_in_one_order_whoever_takes_them() -> None:
    assert lock_paths([SUPPLY, GENERATOR]) == lock_paths([GENERATOR, SUPPLY])


def test_an_address_cannot_lead_out_of_the_folder() -> None:
    (path,) = lock_paths(["TCPIP::../../etc/passwd::1::SOCKET"])
    assert path.parent == state_folder() / "locks"
    assert path.resolve().parent == path.parent.resolve()


def test_a_folder_that_cannot_be_written_is_named(home: Path) -> None:
    state_folder().parent.mkdir(parents=True, exist_ok=True)
    state_folder().write_text("a file where the folder belongs")
    with pytest.raises(UsageError, match="cannot lock the bench"), bench_lock([SUPPLY]):
        pass


def test_a_guardian_at_work_keeps_new_runs_out_and_is_kept_out_by_none() -> None:
    paths = lock_paths([SUPPLY])
    with hold_if_free(paths), pytest.raises(PreflightRefused), bench_lock([SUPPLY]):
        pass
    with bench_lock([SUPPLY]), hold_if_free(paths):
        pass
    with hold_if_free([Path("/proc/nowhere/lock")]):
        pass


def test_a_file_that_says_nonsense_about_its_holder_still_locks() -> None:
    lock = BenchLock(lock_paths([SUPPLY]))
    assert lock.take() is None
    lock.paths[0].write_text("nonsense")
    with pytest.raises(PreflightRefused, match="another run"), bench_lock([SUPPLY]):
        pass
    lock.release()
