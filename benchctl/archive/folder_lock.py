"""Two runs that write into one folder would mix their events. A lock on the journal refuses the second one.

The operating system releases the lock when its holder ends for any reason. In a folder on a network drive the server
keeps it, for all computers. Reading needs no lock. The guardian needs none either: it writes its own file.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import BinaryIO

from benchctl.archive.files import disk_errors, opened_plain
from benchctl.archive.folder import RunFolder
from benchctl.clock import RealClock
from benchctl.errors import ArchiveError, PreflightRefused
from benchctl.file_lock import is_locked, take_lock

# Who looks whether a folder is being written keeps writers out for a moment, on a slow network drive for longer.
_LOOKS, _EVERY_S = 25, 0.02


@contextmanager
def locked(folder: RunFolder) -> Iterator[bool]:
    """Take the folder's lock for as long as the block lasts; gives whether it could be taken.

    Raises:
        ArchiveError: its journal cannot be opened, or the folder is on a drive that keeps no locks.
    """
    with disk_errors("write", folder.journal):
        file = folder.journal.open("ab", buffering=0)
    with file:
        yield _taken(folder, file)


def _taken(folder: RunFolder, file: BinaryIO) -> bool:
    clock = RealClock()
    try:
        return any(take_lock(file) or clock.sleep(_EVERY_S) for _ in range(_LOOKS))
    except OSError as error:
        raise ArchiveError(
            f"{folder.path} is on a drive that keeps no locks ({error.strerror or error}), so two programs could write "
            "into one run folder unnoticed",
            advice="Give a folder on a disk of this computer with --out. Copy the run folder when the run has ended.",
        ) from error


@contextmanager
def written_alone(folder: RunFolder) -> Iterator[None]:
    """Let no other process write into the folder while the block lasts.

    Raises:
        PreflightRefused: another process writes into it.
        ArchiveError: its journal cannot be opened.
    """
    with locked(folder) as is_ours:
        if not is_ours:
            raise PreflightRefused(
                [
                    f"the run in {folder.path} still goes on, or is being resumed: another process writes into this "
                    "folder; wait for its end, or stop it"
                ]
            )
        yield


def is_being_written(folder: RunFolder) -> bool:
    """Whether the run in this folder is still running, here, in another process or on another computer. Where a drive
    keeps no locks, no run can be written."""
    with disk_errors("read", folder.journal), opened_plain(folder.journal) as file:
        try:
            return is_locked(file)
        except OSError:
            return False
