"""Two runs that write into one folder would mix their events. A lock on the journal refuses the second one.

The operating system releases the lock when its holder ends for any reason. Reading needs no lock. The guardian needs
none either: it writes its own file.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from benchctl.archive.files import disk_errors, opened_plain
from benchctl.archive.folder import RunFolder
from benchctl.errors import PreflightRefused
from benchctl.file_lock import is_locked, try_lock


@contextmanager
def locked(folder: RunFolder) -> Iterator[bool]:
    """Take the folder's lock for as long as the block lasts; gives whether it could be taken.

    Raises:
        ArchiveError: its journal cannot be opened.
    """
    with disk_errors("write", folder.journal):
        file = folder.journal.open("ab", buffering=0)
    with file:
        yield try_lock(file)


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
    """Whether the run in this folder is still running, here or in another process."""
    with disk_errors("read", folder.journal), opened_plain(folder.journal) as file:
        return is_locked(file)
