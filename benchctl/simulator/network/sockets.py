"""Listening on loopback, and ending a link like a peer that lost its power."""

from __future__ import annotations

import ipaddress
import socket
import struct
from contextlib import suppress

from benchctl.errors import UsageError

Address = tuple[str, int]


def listen(host: str, port: int) -> socket.socket:
    """A listener on a loopback address; no other address is served.

    Raises:
        UsageError: the address is not loopback, or is taken.
    """
    try:
        is_loopback = ipaddress.IPv4Address(host).is_loopback
    except ValueError:
        is_loopback = host == "localhost"
    if not is_loopback:
        raise UsageError(f"simulated instruments are served on loopback only, not on {host}")
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((host, port))
        listener.listen(16)
    except OSError as error:
        listener.close()
        raise UsageError(f"cannot serve on {host}:{port}: {error.strerror}") from error
    listener.setblocking(False)
    return listener


def address_of(listener: socket.socket) -> Address:
    """Where it listens."""
    host, port = listener.getsockname()[:2]
    return str(host), int(port)


def reset_when_closed(link: socket.socket) -> None:
    """Make closing it send a reset, as a peer does after a loss of power, instead of a normal end."""
    with suppress(OSError):  # some systems refuse options on a link that is gone already
        link.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
