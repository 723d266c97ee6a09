"""Ports for servers that are started a moment later, and addresses where nobody is.

The system hands out ports from 32768 upwards (49152 elsewhere) to whoever connects, so one of those that was free just
now may be a client's by the time it is served. These lie below. Each process draws from some of its own: a lock, which
ends with the process, keeps them from every other one, also from that of another checkout.
"""

from __future__ import annotations

import atexit
import random
import socket
import tempfile
from collections.abc import Iterator
from pathlib import Path

from benchctl.file_lock import try_lock

_FIRST, _EACH, _PROCESSES = 20_000, 250, 48


def free_port() -> int:
    """A port of 127.0.0.1 that nobody listens on and that no other test is given."""
    return next(_FREE)


def free_ports(count: int) -> list[int]:
    """So many."""
    return [free_port() for _ in range(count)]


def _free() -> Iterator[int]:
    first = _FIRST + _own_share() * _EACH
    while True:
        for port in random.sample(range(first, first + _EACH), _EACH):
            if _is_free(port):
                yield port


def _own_share() -> int:
    """A share of the ports that no other process has; any, should there be more processes than shares."""
    for share in range(_PROCESSES):
        try:
            lock = Path(tempfile.gettempdir(), f"benchctl-test-ports-{share}").open("ab")  # noqa: SIM115 - open as long as its lock is held
        except OSError:  # it belongs to another user
            continue
        if try_lock(lock):
            atexit.register(lock.close)
            return share
        lock.close()
    return random.randrange(_PROCESSES)


def _is_free(port: int) -> bool:
    try:
        socket.create_server(("127.0.0.1", port)).close()
    except OSError:
        return False
    return True


_FREE = _free()
