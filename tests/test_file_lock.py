"""A file's lock belongs to one, and to nobody once that one has let go, closed the file or died."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from benchctl.file_lock import try_lock, unlock


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
