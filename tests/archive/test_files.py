"""What the disk refuses is told in clear words, and leaves what was there."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path

import pytest

from benchctl.archive.files import disk_errors, read_bytes, sync_folder, write_whole
from benchctl.errors import ArchiveError

OutOfRoom = Callable[[int], AbstractContextManager[None]]


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (errno.ENOSPC, "the disk is full"),
        (errno.EDQUOT, "the disk is full"),
        (errno.EROFS, "read-only"),
        (errno.EACCES, "read-only"),
        (errno.ENOENT, "is gone"),
        (errno.EIO, os.strerror(errno.EIO)),
    ],
)
def test_an_error_of_the_system_is_told_with_file_and_cause(number: int, words: str) -> None:
    with pytest.raises(ArchiveError, match=words) as caught, disk_errors("write", Path("runs/x/figures.csv")):
        raise OSError(number, os.strerror(number))
    assert "cannot write" in str(caught.value)
    assert "figures.csv" in str(caught.value)
    assert caught.value.exit_code == 5


def test_a_file_is_replaced_by_the_whole_of_another(tmp_path: Path) -> None:
    path = tmp_path / "figures.csv"
    write_whole(path, b"old")
    write_whole(path, b"new\n")
    assert path.read_bytes() == b"new\n"
    assert list(tmp_path.iterdir()) == [path]


def test_a_write_that_fails_leaves_the_old_file_and_no_piece_of_the_new(tmp_path: Path, out_of_room: OutOfRoom) -> None:
    path = tmp_path / "figures.csv"
    write_whole(path, b"old")
    with out_of_room(100), pytest.raises(ArchiveError, match="the disk is full"):
        write_whole(path, b"x" * 1000)
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_folder_that_is_gone_is_told(tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match="is gone"):
        write_whole(tmp_path / "deleted" / "figures.csv", b"x")


def test_a_pipe_in_the_place_of_a_file_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "figures.csv")
    with pytest.raises(ArchiveError, match=r"figures\.csv: it is not a plain file"):
        read_bytes(tmp_path / "figures.csv")


def test_a_folder_a_device_and_a_name_with_a_null_byte_are_no_files(tmp_path: Path) -> None:
    (tmp_path / "zero").symlink_to("/dev/zero")
    for path in (tmp_path, tmp_path / "zero", tmp_path / "a\0b"):
        with pytest.raises(ArchiveError, match="cannot read"):
            read_bytes(path)


def test_a_file_longer_than_any_run_leaves_is_not_read_into_memory(tmp_path: Path) -> None:
    (tmp_path / "journal.jsonl").write_bytes(bytes(1001))
    assert len(read_bytes(tmp_path / "journal.jsonl", at_most=1001)) == 1001
    with pytest.raises(ArchiveError, match="it is longer than"):
        read_bytes(tmp_path / "journal.jsonl", at_most=1000)


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="a folder that cannot be synchronised, as Linux has it")
def test_a_folder_on_a_drive_that_cannot_write_it_through_is_no_error() -> None:
    """fsync(2): EINVAL for what does not support it, as /proc and the folders of many network drives."""
    folder = os.open("/proc", os.O_RDONLY)
    try:
        with pytest.raises(OSError, match=os.strerror(errno.EINVAL)):
            os.fsync(folder)
    finally:
        os.close(folder)
    sync_folder(Path("/proc"))
