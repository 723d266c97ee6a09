"""Two runs on one bench would switch each other's outputs. A lock for each instrument keeps the second one out.

The operating system holds the locks and lets go of them when their holder ends, however it ends; the files that they
are on stay behind and mean nothing by themselves. What a file holds is only for the message: who has the lock.

Only the standard library: the guardian takes these locks too, for as long as it still has work to do.
"""

from __future__ import annotations

import json
import os
import re
import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from benchctl.errors import PreflightRefused, UsageError
from benchctl.guard.file_lock import try_lock

_LOCAL_NAMES = {"localhost", "127.0.0.1"}


@dataclass(frozen=True)
class Holder:
    """Who holds a lock, as far as it could be read."""

    pid: int | None = None
    folder: str = ""

    def __str__(self) -> str:
        process = "another run" if self.pid is None else f"another run, process {self.pid},"
        return f"{process} with the run folder {self.folder}" if self.folder else process.rstrip(",")


class BenchLock:
    """The locks of all instruments of a bench, held until `release`."""

    def __init__(self, paths: Sequence[Path]) -> None:
        self.paths = tuple(paths)
        self._files: list[BinaryIO] = []

    def take(self) -> Holder | None:
        """Take every lock, or none; returns who holds one of them, None if all are ours now.

        Raises:
            OSError: the files cannot be written.
        """
        for path in self.paths:
            path.parent.mkdir(parents=True, exist_ok=True)
            file = path.open("a+b", buffering=0)
            self._files.append(file)
            if not try_lock(file):
                holder = _holder(file)
                self.release()
                return holder
        return None

    def tell(self, folder: str) -> None:
        """Leave word of who we are, for whoever is refused."""
        words = json.dumps({"pid": os.getpid(), "folder": folder}).encode("utf-8")
        for file in self._files:
            file.seek(0)
            file.truncate()
            file.write(words)

    def release(self) -> None:
        """Let go. The system does the same when this process ends."""
        while self._files:
            self._files.pop().close()


@contextmanager
def bench_lock(addresses: Iterable[str]) -> Iterator[BenchLock]:
    """Keep other runs off the instruments at these addresses for as long as the block lasts.

    Raises:
        PreflightRefused: another run is on one of them.
        UsageError: the folder for locks cannot be written.
    """
    lock = BenchLock(lock_paths(addresses))
    try:
        holder = lock.take()
    except OSError as error:
        lock.release()
        raise UsageError(
            f"cannot lock the bench in {state_folder()}: {error.strerror}",
            advice="Give yourself the right to write there.",
        ) from error
    if holder is not None:
        raise PreflightRefused([f"the bench is in use by {holder}; two runs would switch each other's outputs"])
    try:
        lock.tell("")
        yield lock
    finally:
        lock.release()


@contextmanager
def hold_if_free(paths: Sequence[Path]) -> Iterator[None]:
    """Hold these locks as far as nobody else does; whatever goes wrong with that, the block is entered."""
    lock = BenchLock(paths)
    try:
        with suppress(OSError):
            if lock.take() is None:
                lock.tell("")
        yield
    finally:
        lock.release()


def lock_paths(addresses: Iterable[str]) -> list[Path]:
    """The file for each address, in an order that is the same for every run."""
    return sorted({state_folder() / "locks" / f"{_file_name(address)}.lock" for address in addresses})


def _file_name(address: str) -> str:
    """One name for one instrument, however its address is written.

    VPP-4.3, 4.3.1.1: upper and lower case are the same, board 0 and the class INSTR go without saying.
    """
    parts = address.strip().upper().split("::")
    if not parts[0][-1:].isdigit():
        parts[0] += "0"
    if parts[-1] not in {"INSTR", "SOCKET"}:
        parts.append("INSTR")
    plain = ["127.0.0.1" if part.lower() in _LOCAL_NAMES else part for part in parts]
    return re.sub(r"[^A-Z0-9.]+", "-", "-".join(plain))


def state_folder() -> Path:
    """Where this user's programs keep what is neither a setting nor a document."""
    if sys.platform == "win32":
        root = os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local"
    elif sys.platform == "darwin":
        root = Path.home() / "Library" / "Application Support"
    else:  # XDG Base Directory Specification 0.8: XDG_STATE_HOME, or ~/.local/state
        root = os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state"
    return Path(root) / "benchctl"


def _holder(file: BinaryIO) -> Holder:
    file.seek(0)
    try:
        told = json.loads(file.read(4096))
        return Holder(int(told["pid"]), str(told["folder"]))
    except (OSError, ValueError, KeyError, TypeError):
        return Holder()  # it has the lock and has not yet said who it is
