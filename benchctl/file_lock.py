"""A lock on an open file, held by the operating system until the file is closed or its holder ends for any reason."""

from __future__ import annotations

import sys
from typing import BinaryIO

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

# On Windows a locked byte cannot be read, so the locked byte lies far behind the text.
_LOCKED_BYTE = 1 << 30


def try_lock(file: BinaryIO) -> bool:
    """Take the lock, unless another process holds it; returns whether it was taken."""
    try:
        if sys.platform == "win32":
            file.seek(_LOCKED_BYTE)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def is_locked(file: BinaryIO) -> bool:
    """Whether another process holds the lock. Several may ask at the same time."""
    if sys.platform == "win32":
        if not try_lock(file):
            return True
        unlock(file)
        return False
    try:
        fcntl.flock(file, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except OSError:
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
