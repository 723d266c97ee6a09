"""The threads that carry out a safe state."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager

DEADLINE_S = 30.0


@contextmanager
def all_end() -> Iterator[None]:
    """Every thread of a safe state that is begun in here ends in here, whoever still waits for its part."""
    before = set(threading.enumerate())
    yield
    for thread in set(threading.enumerate()) - before:
        if thread.name.startswith("safe state"):
            thread.join(DEADLINE_S)
            assert not thread.is_alive()
