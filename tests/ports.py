"""Ports for servers that are started a moment later, and addresses where nobody is.

The system hands out ports from 32768 upwards (49152 elsewhere) to whoever connects, so one of those that was free just
now may be a client's by the time it is served. These lie below, and each test process draws from a thousand of its own.
"""

from __future__ import annotations

import os
import random
import re
import socket
from collections.abc import Iterator

_FIRST, _EACH, _PROCESSES = 20_000, 1000, 12


def free_port() -> int:
    """A port of 127.0.0.1 that nobody listens on and that no other test is given."""
    return next(_FREE)


def free_ports(count: int) -> list[int]:
    """So many."""
    return [free_port() for _ in range(count)]


def _free() -> Iterator[int]:
    worker = int(re.sub(r"\D", "", os.environ.get("PYTEST_XDIST_WORKER", "")) or 0) % _PROCESSES
    first = _FIRST + worker * _EACH
    while True:
        for port in random.sample(range(first, first + _EACH), _EACH):
            if _is_free(port):
                yield port


def _is_free(port: int) -> bool:
    try:
        socket.create_server(("127.0.0.1", port)).close()
    except OSError:
        return False
    return True


_FREE = _free()
