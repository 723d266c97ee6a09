"""One test at a time is heard on loopback: whoever looks for announced instruments finds those of its own test only."""

from __future__ import annotations

import fcntl
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def alone_on_the_air() -> Iterator[None]:
    """Wait until no other test announces simulated instruments that may be taken for this one's."""
    with (Path(tempfile.gettempdir()) / "benchctl-tests-announce.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield
