"""A folder that all users of this computer share, with files that each of them can open.

In a folder that everybody may write, anybody may put a link or a pipe in place of a file. So links are not followed,
and only a plain file is opened.

This module uses the standard library only: the guardian opens such files too.
"""

from __future__ import annotations

import errno
import os
import stat
import sys
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO

# Folders that everybody may write, and where nobody may remove another user's files. The choice depends on the computer
# alone: no user's settings may lead two runs to two folders. Some systems do not let every user into the first (common
# practice).
_PLACES = (Path("/run/lock"), Path("/tmp"))
_FOR_EVERYBODY = stat.S_ISVTX | 0o777
_FILE_MODE = 0o666
# A file may be made, or removed, by somebody else between two looks at it.
_ATTEMPTS = 5


def shared_folder() -> Path:
    """The folder. It is the same for every user of this computer."""
    if sys.platform == "win32":  # what one user leaves in it others may change (not tried)
        place = Path(os.environ.get("PUBLIC", r"C:\Users\Public"))
    else:
        place = next((place for place in _PLACES if _is_for_everybody(place)), _PLACES[-1])
    return place / "benchctl"


def open_shared(path: Path) -> BinaryIO:
    """Open a file to read and write. It, and its folder, are made so that every user can do the same.

    Raises:
        OSError: that is not possible, or something else is in its place.
    """
    if sys.platform == "win32":
        path.parent.mkdir(parents=True, exist_ok=True)
        return path.open("a+b", buffering=0)
    else:  # noqa: RET505 - or the rest would be code that is never reached there
        folder = _open_folder(path.parent)
        try:
            return os.fdopen(_open_file(path.name, folder), "r+b", buffering=0)
        finally:
            os.close(folder)


def is_still_there(path: Path, file: BinaryIO) -> bool:
    """Whether the open file is the one at this path, which somebody may have removed and made again."""
    with suppress(FileNotFoundError):
        return os.path.samestat(path.lstat(), os.fstat(file.fileno()))
    return False


def _is_for_everybody(place: Path) -> bool:
    with suppress(OSError):
        return place.stat().st_mode & _FOR_EVERYBODY == _FOR_EVERYBODY
    return False


if sys.platform != "win32":

    def _open_folder(path: Path) -> int:
        with suppress(FileExistsError):
            path.mkdir()
        folder = os.open(path, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
        found = os.fstat(folder)
        if found.st_uid == os.geteuid() and stat.S_IMODE(found.st_mode) != _FOR_EVERYBODY:
            os.fchmod(folder, _FOR_EVERYBODY)  # whatever the umask left of it
        return folder

    def _open_file(name: str, folder: int) -> int:
        # A pipe in its place must not block this process.
        flags = os.O_RDWR | os.O_NOFOLLOW | os.O_NONBLOCK
        for _ in range(_ATTEMPTS):
            # Not O_CREAT at once: Linux refuses that on another user's file in such a folder (fs.protected_regular).
            with suppress(FileNotFoundError):
                return _plain(os.open(name, flags, dir_fd=folder))
            with suppress(FileExistsError):
                made = os.open(name, flags | os.O_CREAT | os.O_EXCL, _FILE_MODE, dir_fd=folder)
                os.fchmod(made, _FILE_MODE)
                return made
        raise OSError(errno.EBUSY, "somebody makes and removes it again and again")

    def _plain(file: int) -> int:
        """The open file, if it is a plain file and has no second name elsewhere."""
        found = os.fstat(file)
        if not stat.S_ISREG(found.st_mode) or found.st_nlink > 1:
            os.close(file)
            raise OSError(errno.EINVAL, "something else is in the place of a plain file")
        return file
