"""Locks on a bench's instruments. Two runs on one bench would switch each other's outputs; the locks keep the second
run out.

An instrument is locked by each of its addresses before anything is sent to it, and by its answer to *IDN? before
anything is set on it. The locks are files in a folder that all users of the computer share.

The operating system holds the locks and releases them when their holder ends, however it ends. A lock file that is left
behind has no effect by itself. Its content is only for the message: who has the lock.

This module uses the standard library only: the guardian holds these locks too, as long as it has work to do.
"""

from __future__ import annotations

import errno
import getpass
import json
import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from benchctl.errors import PreflightRefused, UsageError
from benchctl.file_lock import try_lock
from benchctl.guard.lock_names import file_name, names_of_address, names_of_identity
from benchctl.guard.shared_folder import is_still_there, open_shared, shared_folder

# A file may be removed between opening and locking it.
_ATTEMPTS = 5
# Any user who may write the file can write anything into it, so what is shown of it is short and plain text.
_LONGEST_WORDS = 4096
_WHY = "two runs would switch each other's outputs"


@dataclass(frozen=True)
class Holder:
    """Who holds a lock, as far as it could be read."""

    pid: int | None = None
    folder: str = ""
    user: str = ""

    def __str__(self) -> str:
        of_user = f" of {self.user}" if self.user else ""
        process = "another run" if self.pid is None else f"another run{of_user}, process {self.pid},"
        return f"{process} with the run folder {self.folder}" if self.folder else process.rstrip(",")


class BenchLock:
    """The locks of all instruments of a bench, held until `release`."""

    def __init__(self, paths: Sequence[Path] = ()) -> None:
        self._paths = tuple(paths)
        self._files: dict[Path, BinaryIO] = {}
        self._folder = ""

    @property
    def paths(self) -> tuple[Path, ...]:
        """The files that the locks are on."""
        return self._paths

    def take(self) -> Holder | None:
        """Take every lock, or none; returns who holds one of them, None if all are ours now.

        Raises:
            OSError: the files cannot be written.
        """
        for path in self._paths:
            if (holder := self._take(path)) is not None:
                self.release()
                return holder
        return None

    def take_also(self, path: Path) -> Holder | None:
        """Take one more, unless it is ours already; returns who holds it, None if it is ours now.

        Raises:
            OSError: the file cannot be written.
        """
        if path in self._files:
            return None
        holder = self._take(path)
        if holder is None:
            self._paths += (path,)
            _write(self._files[path], self._folder)
        return holder

    def tell(self, folder: str) -> None:
        """Write down who holds the locks, for the message of a run that is refused."""
        self._folder = folder
        for file in self._files.values():
            _write(file, folder)

    def release(self) -> None:
        """Release the locks, and remove the files that belong to this user. The system also releases them when this
        process ends.
        """
        while self._files:
            path, file = self._files.popitem()
            with file, suppress(OSError):
                path.unlink()  # while it is locked: whoever opened it before finds that it is not there any more

    def _take(self, path: Path) -> Holder | None:
        for _ in range(_ATTEMPTS):
            file = open_shared(path)
            if not try_lock(file):
                with file:
                    return _holder(file)
            if is_still_there(path, file):
                self._files[path] = file
                return None
            file.close()
        raise OSError(errno.EBUSY, "somebody removes it again and again", str(path))


@contextmanager
def bench_lock(addresses: Iterable[str], folder: Path | None = None) -> Iterator[BenchLock]:
    """Keep other runs away from the instruments at these addresses while the block runs.

    Raises:
        PreflightRefused: another run uses one of them.
        UsageError: the folder for locks cannot be written.
    """
    lock = BenchLock(lock_paths(addresses, folder))
    try:
        with _said_clearly(folder):
            holder = lock.take()
        if holder is not None:
            raise PreflightRefused([f"the bench is in use by {holder}; {_WHY}"])
        lock.tell("")
        yield lock
    finally:
        lock.release()


def lock_identities(lock: BenchLock, identities: Mapping[str, str], folder: Path | None = None) -> None:
    """Lock the instruments by their answers to *IDN? too: another address may lead to an instrument that is in use.

    Args:
        lock: keeps them, with those of the addresses.
        identities: by role.

    Raises:
        PreflightRefused: another run uses one of them.
        UsageError: the folder for locks cannot be written.
    """
    for role, identity in sorted(identities.items()):
        for name in names_of_identity(identity):
            with _said_clearly(folder):
                holder = lock.take_also(_path(name, folder))
            if holder is not None:
                raise PreflightRefused([f"the {role}, which says it is '{identity}', is in use by {holder}; {_WHY}"])


class LateLock:
    """The locks of a bench for somebody who works on it even if another run holds them. They are taken when nobody else
    has them.
    """

    def __init__(self, paths: Iterable[str]) -> None:
        self._lock = BenchLock([Path(path) for path in paths])
        self._is_held = False
        self.take_if_free()

    def take_if_free(self) -> None:
        """Take them if nobody holds them. If that fails for any reason, the work goes on all the same."""
        if self._is_held:
            return
        with suppress(OSError):
            self._is_held = self._lock.take() is None
            if self._is_held:
                self._lock.tell("")

    def close(self) -> None:
        """Let go."""
        self._lock.release()


def lock_paths(addresses: Iterable[str], folder: Path | None = None) -> list[Path]:
    """The lock files of these addresses, in an order that is the same for every run."""
    return sorted({_path(name, folder) for address in addresses for name in names_of_address(address)})


def _path(name: str, folder: Path | None) -> Path:
    return (folder or shared_folder()) / file_name(name)


@contextmanager
def _said_clearly(folder: Path | None) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise UsageError(
            f"cannot lock the bench in {folder or shared_folder()}: {error.filename or 'a file'}: {error.strerror}",
            advice="Every user must be able to write in that folder. Look what is there, and remove it.",
        ) from error


def _write(file: BinaryIO, folder: str) -> None:
    words = json.dumps({"pid": os.getpid(), "user": _user(), "folder": folder}).encode("utf-8")
    file.seek(0)
    file.truncate()
    file.write(words)


def _user() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):  # a user without a name
        return ""


def _holder(file: BinaryIO) -> Holder:
    file.seek(0)
    try:
        told = json.loads(file.read(_LONGEST_WORDS))
        return Holder(int(str(told["pid"])), _plain(told["folder"]), _plain(told.get("user", "")))
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return Holder()  # it has the lock and has not yet said who it is


def _plain(words: object) -> str:
    """The text without anything that could move a terminal's cursor."""
    return "".join(char if char.isprintable() else "?" for char in str(words))
