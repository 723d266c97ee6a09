"""A file's lock belongs to one, and to nobody once that one has let go, closed the file or died."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from benchctl.file_lock import is_locked, take_lock, try_lock, unlock


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """An empty file."""
    (tmp_path / "file").touch()
    return tmp_path / "file"


def test_only_one_has_the_lock_until_it_lets_go(path: Path) -> None:
    with path.open("r+b", buffering=0) as one, path.open("r+b", buffering=0) as other:
        assert try_lock(one)
        assert not try_lock(other)
        unlock(one)
        assert try_lock(other)


def test_a_file_that_is_closed_has_no_lock_any_more(path: Path) -> None:
    with path.open("r+b", buffering=0) as one:
        assert try_lock(one)
    with path.open("r+b", buffering=0) as other:
        assert try_lock(other)


def test_a_process_that_is_killed_holds_no_lock_any_more(path: Path) -> None:
    program = (
        "import sys, time; from benchctl.file_lock import try_lock;"
        "file = open(sys.argv[1], 'r+b', buffering=0); print(try_lock(file), flush=True); time.sleep(600)"
    )
    with (
        subprocess.Popen([sys.executable, "-c", program, str(path)], stdout=subprocess.PIPE) as holder,
        path.open("r+b", buffering=0) as file,
    ):
        assert holder.stdout is not None
        assert holder.stdout.readline().strip() == b"True"
        assert not try_lock(file)
        holder.kill()
        holder.wait()
        assert try_lock(file)


def test_who_may_only_read_sees_the_lock_and_is_taken_by_nobody_for_its_holder(path: Path) -> None:
    with path.open("rb") as looker, path.open("rb") as other, path.open("r+b", buffering=0) as holder:
        assert not is_locked(looker)
        assert not is_locked(other)
        assert take_lock(holder)
        assert is_locked(looker)


@pytest.mark.skipif(not hasattr(os, "O_PATH"), reason="a file that takes no lock, as Linux has it")
def test_a_file_that_can_have_no_lock_is_said_to_have_none(path: Path) -> None:
    """flock(2): EBADF for a file that was opened by its path alone; a drive without locks has other reasons."""
    with os.fdopen(os.open(path, os.O_PATH), "rb", buffering=0) as file:
        with pytest.raises(OSError, match="Bad file descriptor"):
            take_lock(file)
        with pytest.raises(OSError, match="Bad file descriptor"):
            is_locked(file)
        assert not try_lock(file)
