"""Links that mark the ends of messages themselves: USB, GPIB, VXI-11 and HiSLIP.

What is worked around, each measured with pyvisa-py 0.8.1: HiSLIP that is out of step stays so, and a read beyond a
message's end never returns. So whole messages are read, and after any failure the link is opened again.
"""

from __future__ import annotations

import socket
import time

from benchctl.errors import ConnectionLost, NoAnswer, NotConnected
from benchctl.instruments.links.link import Interrupt
from benchctl.instruments.links.sockets import await_bytes, has_unread
from benchctl.instruments.links.visa import CHECK_LINK, OPEN_TIMEOUT_S, opened, translated
from benchctl.scpi.blocks import BlockHeader


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
