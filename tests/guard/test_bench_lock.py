"""Two runs never share an instrument, and a lock never outlives whoever holds it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from benchctl.errors import PreflightRefused, UsageError
from benchctl.guard.bench_lock import BenchLock, LateLock, bench_lock, lock_identities, lock_paths

SUPPLY = "TCPIP::192.0.2.7::5025::SOCKET"
GENERATOR = "TCPIP::192.0.2.8::5025::SOCKET"
IDENTITY = {"supply": "Invented,Supply,S1,1.0"}


def test_a_second_run_is_told_who_has_the_bench(tmp_path: Path) -> None:
    with bench_lock([SUPPLY], tmp_path) as lock:
        lock.tell("/somewhere/runs/20261124-221003-quick-check")
        with pytest.raises(PreflightRefused) as refused, bench_lock([SUPPLY], tmp_path):
            pass
    assert f"process {os.getpid()}" in str(refused.value)
    assert "/somewhere/runs/20261124-221003-quick-check" in str(refused.value)


def test_one_instrument_in_common_is_one_too_many(tmp_path: Path) -> None:
    with (
        bench_lock([SUPPLY, GENERATOR], tmp_path),
        pytest.raises(PreflightRefused),
        bench_lock([GENERATOR], tmp_path),
    ):
        pass


def test_who_is_refused_keeps_nothing_locked(tmp_path: Path) -> None:
    other = "TCPIP::192.0.2.6::5025::SOCKET"
    with bench_lock([SUPPLY], tmp_path):
        with pytest.raises(PreflightRefused), bench_lock([other, SUPPLY], tmp_path):
            pass
        with bench_lock([other], tmp_path):
            pass


def test_a_lock_that_was_let_go_of_can_be_taken(tmp_path: Path) -> None:
    with bench_lock([SUPPLY], tmp_path):
        pass
    with bench_lock([SUPPLY], tmp_path):
        pass


def test_a_lock_that_was_let_go_of_leaves_no_file_behind(tmp_path: Path) -> None:
    with bench_lock([SUPPLY], tmp_path) as lock:
        lock_identities(lock, IDENTITY, tmp_path)
        assert len(list(tmp_path.iterdir())) == 2
    assert not list(tmp_path.iterdir())


def test_a_lock_dies_with_the_process_that_held_it(tmp_path: Path) -> None:
    hold = (
        "import sys, time; from pathlib import Path; from benchctl.guard.bench_lock import bench_lock\n"
        "with bench_lock([sys.argv[1]], Path(sys.argv[2])): print('held', flush=True); time.sleep(600)"
    )
    command = [sys.executable, "-c", hold, SUPPLY, str(tmp_path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline().strip() == b"held"
        with pytest.raises(PreflightRefused, match=f"process {holder.pid}"), bench_lock([SUPPLY], tmp_path):
            pass
        holder.kill()
    with bench_lock([SUPPLY], tmp_path):
        pass


def test_locks_are_taken_in_one_order_whoever_takes_them() -> None:
    assert lock_paths([SUPPLY, GENERATOR]) == lock_paths([GENERATOR, SUPPLY])


def test_an_instrument_that_is_in_use_is_known_by_its_identity_behind_another_address(tmp_path: Path) -> None:
    with bench_lock([SUPPLY], tmp_path) as first, bench_lock([GENERATOR], tmp_path) as second:
        lock_identities(first, IDENTITY, tmp_path)
        first.tell("/somewhere/runs/first")
        with pytest.raises(PreflightRefused) as refused:
            lock_identities(second, {"generator": "INVENTED,Supply,S1,1.1"}, tmp_path)
    assert "the generator, which says it is 'INVENTED,Supply,S1,1.1', is in use by another run" in str(refused.value)
    assert "/somewhere/runs/first" in str(refused.value)


def test_an_identity_that_was_locked_is_among_what_the_guardian_holds(tmp_path: Path) -> None:
    with bench_lock([SUPPLY], tmp_path) as lock:
        lock_identities(lock, IDENTITY, tmp_path)
        with pytest.raises(PreflightRefused), bench_lock([GENERATOR], tmp_path) as second:
            lock_identities(second, IDENTITY, tmp_path)
        assert len(lock.paths) == 2


def test_an_identity_that_is_ours_already_is_no_other_run(tmp_path: Path) -> None:
    """Two roles of one instrument; or the same one, met again after a power cycle."""
    with bench_lock([SUPPLY], tmp_path) as lock:
        lock_identities(lock, IDENTITY | {"load": IDENTITY["supply"]}, tmp_path)
        lock_identities(lock, IDENTITY, tmp_path)


def test_instruments_without_a_serial_number_are_locked_by_their_addresses_alone(tmp_path: Path) -> None:
    nameless = {"supply": "Invented,Supply,0,1.0"}
    with bench_lock([SUPPLY], tmp_path) as first, bench_lock([GENERATOR], tmp_path) as second:
        lock_identities(first, nameless, tmp_path)
        lock_identities(second, nameless, tmp_path)


def test_a_folder_that_cannot_be_written_is_named_with_what_to_do(tmp_path: Path) -> None:
    folder = tmp_path / "locks"
    folder.write_text("a file where the folder belongs")
    with pytest.raises(UsageError, match=f"cannot lock the bench in {folder}") as refused, bench_lock([SUPPLY], folder):
        pass
    assert "Every user must be able to write in that folder" in refused.value.advice


def test_a_link_in_the_place_of_a_lock_is_named_and_not_followed(tmp_path: Path) -> None:
    victim = tmp_path / "victim"
    victim.write_text("precious")
    (path,) = lock_paths([SUPPLY], tmp_path)
    path.symlink_to(victim)
    with pytest.raises(UsageError, match=path.name), bench_lock([SUPPLY], tmp_path):
        pass
    assert victim.read_text() == "precious"


def test_a_guardian_at_work_keeps_new_runs_out_and_is_kept_out_by_none(tmp_path: Path) -> None:
    paths = [str(path) for path in lock_paths([SUPPLY], tmp_path)]
    with closing(LateLock(paths)), pytest.raises(PreflightRefused), bench_lock([SUPPLY], tmp_path):
        pass
    with bench_lock([SUPPLY], tmp_path), closing(LateLock(paths)):
        pass
    with closing(LateLock(["/proc/nowhere/lock"])):
        pass


def test_a_guardian_that_goes_on_after_its_run_keeps_new_runs_out_as_soon_as_that_has_ended(tmp_path: Path) -> None:
    with bench_lock([SUPPLY], tmp_path):
        late = LateLock(map(str, lock_paths([SUPPLY], tmp_path)))
    late.take_if_free()
    with closing(late), pytest.raises(PreflightRefused), bench_lock([SUPPLY], tmp_path):
        pass


@pytest.mark.parametrize(
    "words",
    ["nonsense", "[" * 4000, '{"pid": Infinity, "folder": ""}', '{"pid": {}, "folder": 1}', '{"folder": "x"}'],
)
def test_a_file_that_says_nonsense_about_its_holder_still_locks(words: str, tmp_path: Path) -> None:
    lock = BenchLock(lock_paths([SUPPLY], tmp_path))
    assert lock.take() is None
    lock.paths[0].write_text(words)
    with pytest.raises(PreflightRefused, match="another run"), bench_lock([SUPPLY], tmp_path):
        pass
    lock.release()


def test_what_a_lock_says_of_its_holder_cannot_move_the_cursor(tmp_path: Path) -> None:
    lock = BenchLock(lock_paths([SUPPLY], tmp_path))
    assert lock.take() is None
    lock.paths[0].write_text(json.dumps({"pid": 1, "folder": "/x\x1b[2J", "user": "a\nb"}))
    with pytest.raises(PreflightRefused) as refused, bench_lock([SUPPLY], tmp_path):
        pass
    assert str(refused.value).isprintable()
    lock.release()
