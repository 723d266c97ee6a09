"""A lock on an open file, held by the operating system until the file is closed or its holder ends for any reason.

On a network drive the server holds it, for all computers. flock(2): there "in order to place an exclusive lock, the
file must be opened for writing"; whoever reads only can place a shared one.
"""

from __future__ import annotations

import sys
from typing import BinaryIO

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

# On Windows a locked byte cannot be read, so the locked byte lies far behind the text.
_LOCKED_BYTE = 1 << 30


def take_lock(file: BinaryIO) -> bool:
    """Take the lock, unless another process holds it; returns whether it was taken.

    Raises:
        OSError: the file system keeps no locks.
    """
    try:
        if sys.platform == "win32":
            file.seek(_LOCKED_BYTE)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):  # POSIX: EAGAIN or EACCES; Windows: EACCES
        return False
    return True


def try_lock(file: BinaryIO) -> bool:
    """Take the lock; returns whether it was taken. Where no locks are kept it never is."""
    try:
        return take_lock(file)
    except OSError:
        return False


def is_locked(file: BinaryIO) -> bool:
    """Whether another process holds the lock; the file may be open for reading only. Those who ask at the same time do
    not take each other for a holder.

    Raises:
        OSError: the file system keeps no locks.
    """
    if sys.platform == "win32":
        is_free = take_lock(file)
        if is_free:
            unlock(file)
        return not is_free
    try:
        fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return True
    unlock(file)
    return False


def unlock(file: BinaryIO) -> None:
    """Release a lock that `try_lock` took."""
    if sys.platform == "win32":
        file.seek(_LOCKED_BYTE)
        msvcrt.locking(file.fileno(), msvcrt.LK_UNLCK, 1)
    else:
        fcntl.flock(file, fcntl.LOCK_UN)
