"""The addresses that `benchctl simulate` serves on this computer, so that a run knows what answers there.

A simulated instrument says what it is in its answer to *IDN?. This list is a second source, for an instrument without
such an answer, and for an answer that was changed on its way.
"""

from __future__ import annotations

import itertools
import json
import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from benchctl.errors import UsageError
from benchctl.file_lock import try_lock, unlock
from benchctl.guard.lock_names import names_of_address
from benchctl.guard.shared_folder import open_shared, shared_folder

_FILES = "simulated-*.json"
# Any user who may write the file can write anything into it. A bench has five instruments.
_LONGEST = 1 << 16
# One process may serve several benches.
_numbers = itertools.count(1)


@contextmanager
def kept_as_served(addresses: Iterable[str], folder: Path | None = None) -> Iterator[None]:
    """Keep a list of these addresses for as long as the block lasts, or this process: the list counts while it is
    locked.

    Raises:
        UsageError: the list cannot be written.
    """
    path = (folder or shared_folder()) / f"simulated-{os.getpid()}-{next(_numbers)}.json"
    names = sorted(name for address in addresses for name in names_of_address(address))
    try:
        file = open_shared(path)
    except OSError as error:
        raise UsageError(f"cannot write the list of simulated addresses {path}: {error.strerror}") from error
    with file:
        try_lock(file)
        file.seek(0)
        file.truncate()
        file.write(json.dumps(names).encode())
        try:
            yield
        finally:
            with suppress(OSError):
                path.unlink()


def is_served(address: str, folder: Path | None = None) -> bool:
    """Whether a simulated instrument is served at this address of this computer, however the address is written."""
    served = {name for path in (folder or shared_folder()).glob(_FILES) for name in _names_in(path)}
    return not served.isdisjoint(names_of_address(address))


def _names_in(path: Path) -> list[str]:
    """What a list holds whose process still exists; empty for a list that a killed process left behind."""
    try:
        with open_shared(path) as file:
            if try_lock(file):
                unlock(file)
                return []
            file.seek(0)
            names = json.loads(file.read(_LONGEST))
    except (OSError, ValueError, RecursionError):
        return []
    return [str(name) for name in names] if isinstance(names, list) else []
