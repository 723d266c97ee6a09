"""Sockets: a raw one as a link, and how long to wait on one.

What is worked around, each measured with pyvisa-py 0.8.1:

- opening a SOCKET to a closed port succeeds and fails at the first read: this module checks that it is connected. The
port is not tried beforehand: many instruments take one connection at a time and notice its end slowly;
- a peer that closed looks like a silent one, at full processor load until the timeout: this module waits on the socket
itself and checks before it reads;
- a terminator in binary data ends each read, and a read takes the bytes in small pieces: this module reads and writes
the socket itself, and `arrivals.py` frames the messages.
"""

from __future__ import annotations

import select
import socket
import time

from pyvisa import constants

from benchctl.errors import ConnectionLost, NoAnswer, NotConnected
from benchctl.instruments.links.link import Interrupt
from benchctl.instruments.links.transports.visa import CHECK_LINK, opened, translated

# Messages are short: if a socket has no room for one for this long, its peer reads nothing.
ROOM_S = 0.5
# An emergency stop must not wait for a silent instrument: a blocked read checks this often.
LOOK_UP_S = 0.05
# What is read at once at most: the fastest of those tried for a long block.
CHUNK_BYTES = 1 << 18
# Where the system can say so, a message that finds no room is not waited for.
_AT_ONCE = getattr(socket, "MSG_DONTWAIT", 0)
# After a failed exchange: silence for this long means that no late answer will come.
QUIET_S = 0.1
# No instrument sends old answers for a whole second.
DRAIN_S = 1.0


class SocketLink:
    """A raw TCP socket (`TCPIP::host::port::SOCKET`) through pyvisa-py."""

    marks_ends = False

    def __init__(self, address: str, host: str, port: int) -> None:
        self._resource = opened(address, f"nothing answers on {host} port {port}")
        with translated("opening"):
            self._resource.read_termination = None
            self._resource.set_visa_attribute(constants.ResourceAttribute.termchar_enabled, False)
            self._socket: socket.socket = self._resource.visalib.sessions[self._resource.session].interface
        try:
            self._socket.getpeername()
        except OSError as error:
            self._resource.close()
            raise NotConnected(f"nothing answers on {host} port {port} (not connected)", advice=CHECK_LINK) from error
        with translated("opening"):
            self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)

    def send(self, data: bytes) -> None:
        with translated("sending"):
            while data := data[self._send_some(data) :]:
                if not select.select([], [self._socket], [], ROOM_S)[1]:
                    raise ConnectionLost("the instrument reads nothing")

    def _send_some(self, data: bytes) -> int:
        """How much of it the system takes at once; nearly always all of it."""
        try:
            return self._socket.send(data, _AT_ONCE)
        except BlockingIOError:
            return 0

    def receive(self, deadline: float, interrupt: Interrupt) -> bytes:
        with translated("reading"):
            await_bytes(self._socket, deadline, interrupt)
            data = self._socket.recv(CHUNK_BYTES)
            if not data:
                raise ConnectionLost("the instrument closed the connection")
            return data

    def drain(self) -> None:
        # pyvisa-py's clear() reads a closed socket for ever, so it is done here, where it ends.
        with translated("clearing"):
            end = time.monotonic() + DRAIN_S
            while _readable(self._socket, QUIET_S):
                if not self._socket.recv(CHUNK_BYTES):
                    raise ConnectionLost("the instrument closed the connection")
                if time.monotonic() >= end:
                    raise ConnectionLost("the instrument does not stop talking")

    def has_waiting(self) -> bool:
        with translated("looking"):
            return has_unread(self._socket)

    def close(self) -> None:
        with translated("closing"):
            self._resource.close()


def await_bytes(link: socket.socket, deadline: float, interrupt: Interrupt) -> None:
    """Wait until something can be read; `interrupt` may raise meanwhile."""
    while not _readable(link, min(LOOK_UP_S, max(0.0, deadline - time.monotonic()))):
        if time.monotonic() >= deadline:
            raise NoAnswer("no answer in time")
        interrupt()


def has_unread(link: socket.socket) -> bool:
    """Whether bytes have arrived; raises ConnectionLost where the peer has closed."""
    if not _readable(link, 0.0):
        return False
    if not link.recv(1, socket.MSG_PEEK):
        raise ConnectionLost("the instrument closed the connection")
    return True


def _readable(link: socket.socket, seconds: float) -> bool:
    return bool(select.select([link], [], [], seconds)[0])
