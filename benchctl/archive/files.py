"""Reading and writing files: errors of the disk become ArchiveErrors, and a file gets its name only when it is
complete."""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from benchctl.errors import ArchiveError, quote

# More than any run writes into one file.
LONGEST_BYTES = 1_000_000_000

PART = ".part"  # ending of a file's name until the file is whole

_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
_FORBIDDEN = {errno.EROFS, errno.EACCES, errno.EPERM}
# fsync(2): "fd is bound to a special file which does not support synchronization".
_NOT_FOR_FOLDERS = {errno.EINVAL, errno.ENOTSUP, errno.EROFS, errno.ENOSYS}
_GONE = {errno.ENOENT, errno.ENOTDIR, errno.ESTALE}


@contextmanager
def disk_errors(action: str, path: Path) -> Iterator[None]:
    """Turn every error of the system, while `action` ("write", "read") is done to `path`, into an ArchiveError."""
    try:
        yield
    except OSError as error:
        raise _archive_error(action, path, error) from error


def _archive_error(action: str, path: Path, error: OSError) -> ArchiveError:
    if error.errno in _FULL:
        return ArchiveError(
            f"cannot {action} {path}: the disk is full, or a limit on file size or quota is reached",
            advice="Make room on the disk, then resume.",
        )
    if error.errno in _FORBIDDEN:
        return ArchiveError(
            f"cannot {action} {path}: the file or its folder is read-only, or belongs to someone else",
            advice="Give yourself the right to write there, or choose another folder with --out.",
        )
    if error.errno in _GONE:
        return ArchiveError(
            f"cannot {action} {path}: the file or its folder is gone",
            advice="The run folder must not be moved or deleted while the run goes on. If it was moved, put it back, "
            "or resume it where it is now.",
        )
    return ArchiveError(f"cannot {action} {path}: {error.strerror or error}")


class Whereabouts:
    """Notices that the run folder was moved or deleted during the run; the open files do not show it.

    A moved folder is reported once: what the run writes while it ends still goes into the moved folder. A deleted file
        accepts every write and keeps nothing, so it is reported each time.
    """

    def __init__(self) -> None:
        self._was_told = False

    def check(self, path: Path, descriptor: int) -> None:
        """Check that the open file is the one at `path`.

        Raises:
            FileNotFoundError: it is not.
        """
        opened = os.fstat(descriptor)
        with suppress(FileNotFoundError, NotADirectoryError):
            if os.path.samestat(os.stat(path), opened):
                return
        if self._was_told and opened.st_nlink > 0:
            return
        self._was_told = True
        raise FileNotFoundError(errno.ENOENT, "it was moved or deleted, or another file has taken its place")


def write_whole(path: Path, content: bytes) -> None:
    """Write `content` so that `path` holds all of it or what it held before, even if the power fails half way.

    Raises:
        ArchiveError: the disk is full, read-only or gone; `path` is then as it was.
    """
    part = path.with_name(path.name + PART)
    with disk_errors("write", path):
        try:
            _write_through(part, content)
            os.replace(part, path)
        except OSError:
            with suppress(OSError):
                part.unlink()
            raise
        sync_folder(path.parent)


def _write_through(path: Path, content: bytes) -> None:
    with path.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """Write the folder's own list of names to the disk, where the system can do that: Windows cannot, nor can many
    network drives, whose servers see to it themselves."""
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    except OSError as error:
        if error.errno not in _NOT_FOR_FOLDERS:
            raise
    finally:
        os.close(descriptor)


def read_bytes(path: Path, at_most: int = LONGEST_BYTES) -> bytes:
    """All of a plain file. Refuses a pipe (it would block), a device, a folder, and a file of more than `at_most`
    bytes.

    Raises:
        ArchiveError: it is not there, cannot be read, or is not a plain file.
    """
    with disk_errors("read", path), opened_plain(path) as file:
        content = file.read(at_most + 1)
    if len(content) > at_most:
        raise ArchiveError(f"cannot read {path}: it is longer than {at_most // 1_000_000} MB, so no run wrote it")
    return content


def opened_plain(path: Path) -> BinaryIO:
    """A plain file, open for reading; the caller handles errors of the system.

    Raises:
        ArchiveError: it is not a plain file: a pipe, a device, a folder.
        OSError: it cannot be opened.
    """
    try:
        # So that a pipe is not waited for. Windows has no such flag, and no pipes in folders.
        descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0))
    except ValueError as error:  # a null byte in its name
        raise ArchiveError(f"cannot read {quote(path)}: {error}") from error
    if not stat.S_ISREG(os.fstat(descriptor).st_mode):
        os.close(descriptor)
        raise ArchiveError(f"cannot read {path}: it is not a plain file", advice="Put the file back from a copy.")
    return os.fdopen(descriptor, "rb")
