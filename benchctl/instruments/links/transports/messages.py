"""Links that mark the ends of messages themselves: USB, GPIB, VXI-11 and HiSLIP.

What is worked around, each measured with pyvisa-py 0.8.1: HiSLIP that is out of step stays so, and a read beyond a
message's end never returns. So whole messages are read, and after any failure the link is opened again.
"""

from __future__ import annotations

import socket
import threading
import time

from pyvisa.constants import StatusCode

from benchctl.errors import ConnectionLost, NoAnswer, NotConnected
from benchctl.instruments.links.link import Interrupt
from benchctl.instruments.links.transports.sockets import LOOK_UP_S, await_bytes, has_unread
from benchctl.instruments.links.transports.visa import CHECK_LINK, OPEN_TIMEOUT_S, opened, translated
from benchctl.scpi.blocks import BlockHeader

# How long an instrument may take to take a message.
SEND_S = 2.0
# How a read may end: with the end of the message, or before it.
_WHOLE = (StatusCode.success, StatusCode.success_termination_character_read)
_UNFINISHED = (StatusCode.error_timeout, StatusCode.success_max_count_read)


class MessageLink:
    """A link that marks the end of a message itself: USB, GPIB, VXI-11."""

    marks_ends = True

    # Longer than any reply, because VXI-11 loses the end mark of a reply that fills the chunk exactly.
    _CHUNK = 4 * 1024 * 1024 + 1

    def __init__(self, address: str) -> None:
        self._resource = opened(address, "cannot be opened")
        with translated("opening"):
            self._resource.chunk_size = self._CHUNK

    def send(self, data: bytes) -> None:
        with translated("sending"):
            self._resource.write_raw(data)

    def receive(self, deadline: float, interrupt: Interrupt) -> bytes:
        with translated("reading"):
            interrupt()
            self._resource.timeout = max(1, int((deadline - time.monotonic()) * 1000))
            message = bytes(self._resource.read_raw())
            if not message:
                raise NoAnswer("the message has ended and there is no other")
            return with_line_feed(message)

    def drain(self) -> None:
        with translated("clearing"):
            self._resource.clear()

    def has_waiting(self) -> bool:
        return False  # such links mark the ends of messages themselves

    def close(self) -> None:
        with translated("closing"):
            self._resource.close()


class HislipLink(MessageLink):
    """HiSLIP (`TCPIP::host::hislip0,4880::INSTR`) through pyvisa-py."""

    _CHUNK = 1024 * 1024  # the fastest of those tried

    def __init__(self, address: str, host: str, port: int) -> None:
        try:
            super().__init__(address)
        except NotConnected as error:
            raise _told_apart(error, host, port) from error
        with translated("opening"):
            session = self._resource.visalib.sessions[self._resource.session]
            self._socket: socket.socket = session.interface._sync

    def receive(self, deadline: float, interrupt: Interrupt) -> bytes:
        with translated("reading"):
            await_bytes(self._socket, deadline, interrupt)
        return super().receive(deadline, interrupt)

    def drain(self) -> None:
        raise ConnectionLost("HiSLIP that has lost step does not find it again")

    def has_waiting(self) -> bool:
        with translated("looking"):
            return has_unread(self._socket)


class Vxi11Link(MessageLink):
    """VXI-11 (`TCPIP::host::inst0::INSTR`) through pyvisa-py.

    One call is made at a time on its connection, so the safe state waits until a read that goes on has had its turn: a
    twentieth of a second. What such a turn has brought is kept.
    """

    def __init__(self, address: str) -> None:
        super().__init__(address)
        with translated("opening"):
            self._session = self._resource.visalib.sessions[self._resource.session]
        self._calls = threading.Lock()

    def send(self, data: bytes) -> None:
        with self._calls:
            self._limit(SEND_S)
            super().send(data)

    def receive(self, deadline: float, interrupt: Interrupt) -> bytes:
        message = b""
        while True:
            with translated("reading"), self._calls:
                self._limit(LOOK_UP_S)
                piece, status = self._session.read(self._CHUNK)
            message += piece
            if status in _WHOLE:
                return with_line_feed(message)
            if status not in _UNFINISHED:
                raise ConnectionLost(f"reading: {status.name}")
            if time.monotonic() >= deadline:
                raise NoAnswer("no answer in time")
            interrupt()

    def drain(self) -> None:
        with self._calls:
            self._limit(SEND_S)
            super().drain()

    def _limit(self, seconds: float) -> None:
        """How long the next call may take."""
        self._resource.timeout = int(1000 * seconds)

    def close(self) -> None:
        with self._calls:
            super().close()


def with_line_feed(message: bytes) -> bytes:
    """A whole message; adds the line feed at its end if the instrument left it out.

    The last byte of a block may look like a line feed without being one.
    """
    try:
        header = BlockHeader.parse(message[:12])
    except ValueError:
        header = None
    length = None if header is None or header.length is None else header.size + header.length
    return message if message.endswith(b"\n") and len(message) != length else message + b"\n"


def _told_apart(error: NotConnected, host: str, port: int) -> NotConnected:
    """Why a link could not be opened: nothing listens there, or what listens has no such instrument."""
    try:
        socket.create_connection((host, port), timeout=OPEN_TIMEOUT_S).close()
    except OSError as refused:
        return NotConnected(f"nothing answers on {host} port {port} ({refused.strerror or refused})", advice=CHECK_LINK)
    return error
