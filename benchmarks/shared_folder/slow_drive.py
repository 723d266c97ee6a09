"""A drive that is slow: each access of this process to files below a folder takes a while, as over a network."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path
from random import Random
from typing import Any

# Python tells of these before it does them (sys.addaudithook); the first argument is a path or an open file.
_ACCESSES = frozenset(
    ["open", "os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.listdir", "os.scandir", "os.truncate", "fcntl.flock"]
)


def slow_drive(root: Path, at_most_s: float, seed: int) -> None:
    """From now on until this process ends, each access to a file below `root` takes up to so long, drawn anew each
    time; so does each time that a file is written through to the disk, and each question about a lock."""
    chance = Random(seed)
    below = os.fspath(root)

    def wait() -> None:
        time.sleep(chance.uniform(0.0, at_most_s))

    def notice(event: str, arguments: tuple[Any, ...]) -> None:
        if event in _ACCESSES and (event == "fcntl.flock" or str(arguments[0]).startswith(below)):
            wait()

    write_through = os.fsync

    def slow_fsync(file: Any) -> None:
        wait()
        write_through(file)

    sys.addaudithook(notice)
    os.fsync = slow_fsync  # type: ignore[assignment]
