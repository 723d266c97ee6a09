"""Bytes to and from one instrument. All problems of pyvisa are handled here and nowhere else.

What is worked around, each measured with pyvisa-py 0.8.1:

- opening a SOCKET to a closed port succeeds and fails at the first read: this module checks that it is connected. The
port is not tried beforehand: many instruments take one connection at a time and notice its end slowly; - a peer that
closed looks like a silent one, at full processor load until the timeout: this module waits on the socket itself and
checks before it reads;
- a terminator in binary data ends each read: the terminator is off and `arrivals.py` frames the messages;
- HiSLIP that is out of step stays so, and a read beyond a message's end never returns: whole messages are read, and
after any failure the link is opened again; - library errors come as VisaIOError, OSError, RuntimeError, TypeError or
bare Exception: all become LinkError.
"""

from __future__ import annotations

import functools
import select
import socket
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, Protocol

import pyvisa
from pyvisa import constants

from benchctl.address import AddressError, LanAddress, SocketAddress, parse_address
from benchctl.errors import ConnectionLost, LinkError, NoAnswer, NotConnected
from benchctl.scpi.blocks import BlockHeader

# A running instrument accepts a link within milliseconds, even across a slow network. Nothing interrupts this wait.
OPEN_TIMEOUT_S = 2.0
# Messages are short: if a socket has no room for one for this long, its peer reads nothing.
ROOM_S = 0.5
# An emergency stop must not wait for a silent instrument: a blocked read checks this often.
LOOK_UP_S = 0.05
# pyvisa-py keeps what it read beyond the count asked for; within this many bytes it never reads beyond.
CHUNK_BYTES = 65536
# After a failed exchange: silence for this long means that no late answer will come.
QUIET_S = 0.1
# No instrument sends old answers for a whole second.
DRAIN_S = 1.0

Interrupt = Callable[[], None]


class Link(Protocol):
    """A byte pipe to one instrument."""

    def send(self, data: bytes) -> None:
        """Send all of `data`."""

    def receive(self, deadline: float, interrupt: Interrupt) -> bytes:
        """At least one byte; `deadline` is on time.monotonic(), `interrupt` may raise while waiting.

        A link that marks ends of messages itself gives a whole message, which then ends with a line feed.
        """

    def drain(self) -> None:
        """Throw away what has arrived; raises ConnectionLost if only a new link helps."""

    def has_waiting(self) -> bool:
        """Whether unread bytes have arrived, as far as the link can tell.

        Raises:
            ConnectionLost: the instrument has closed the link.
        """

    def close(self) -> None:
        """Close for good."""


@functools.cache
def _resource_manager() -> Any:
    # One per process: pyvisa hands out the same object each time, and closing it kills every session.
    return pyvisa.ResourceManager("@py")


@contextmanager
def _translated(what: str) -> Iterator[None]:
    """The only place where exceptions of pyvisa and sockets become InstrumentErrors."""
    try:
        yield
    except LinkError:
        raise
    except pyvisa.errors.VisaIOError as error:
        if error.error_code == constants.StatusCode.error_timeout:
            raise NoAnswer(f"{what}: no answer in time") from error
        raise ConnectionLost(f"{what}: {error.description}") from error
    except (OSError, RuntimeError, TypeError, ValueError, NotImplementedError, pyvisa.errors.Error) as error:
        raise ConnectionLost(f"{what}: {error}") from error


class SocketLink:
    """A raw TCP socket (`TCPIP::host::port::SOCKET`) through pyvisa-py."""

    def __init__(self, address: str, host: str, port: int) -> None:
        self._resource = _opened(address, f"nothing answers on {host} port {port}")
        with _translated("opening"):
            self._resource.read_termination = None
            self._resource.set_visa_attribute(constants.ResourceAttribute.termchar_enabled, False)
            self._session = self._resource.visalib.sessions[self._resource.session]
            self._session.max_recv_size = CHUNK_BYTES
            self._socket: socket.socket = self._session.interface
        try:
            self._socket.getpeername()
        except OSError as error:
            self._resource.close()
            raise NotConnected(f"nothing answers on {host} port {port} (not connected)", advice=_CHECK_LINK) from error
        with _translated("opening"):
            self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)

    def send(self, data: bytes) -> None:
        with _translated("sending"):
            if not select.select([], [self._socket], [], ROOM_S)[1]:
                raise ConnectionLost("the instrument reads nothing")
            self._resource.write_raw(data)

    def receive(self, deadline: float, interrupt: Interrupt) -> bytes:
        with _translated("reading"):
            _await_bytes(self._socket, deadline, interrupt)
            waiting = len(self._socket.recv(CHUNK_BYTES, socket.MSG_PEEK))
            if not waiting:
                raise ConnectionLost("the instrument closed the connection")
            data, _status = self._session.read(waiting)
            return bytes(data)

    def drain(self) -> None:
        # pyvisa-py's clear() reads a closed socket for ever, so it is done here, where it ends.
        with _translated("clearing"):
            end = time.monotonic() + DRAIN_S
            while _readable(self._socket, QUIET_S):
                if not self._socket.recv(CHUNK_BYTES):
                    raise ConnectionLost("the instrument closed the connection")
                if time.monotonic() >= end:
                    raise ConnectionLost("the instrument does not stop talking")

    def has_waiting(self) -> bool:
        with _translated("looking"):
            return _has_waiting(self._socket)

    def close(self) -> None:
        with _translated("closing"):
            self._resource.close()


class MessageLink:
    """A link that marks the end of a message itself: USB, GPIB, VXI-11, serial with a terminator."""

    # Longer than any reply, because VXI-11 loses the end mark of a reply that fills the chunk exactly.
    _CHUNK = 4 * 1024 * 1024 + 1

    def __init__(self, address: str) -> None:
        self._resource = _opened(address, "cannot be opened")
        with _translated("opening"):
            self._resource.chunk_size = self._CHUNK

    def send(self, data: bytes) -> None:
        with _translated("sending"):
            self._resource.write_raw(data)

    def receive(self, deadline: float, interrupt: Interrupt) -> bytes:
        with _translated("reading"):
            interrupt()
            self._resource.timeout = max(1, int((deadline - time.monotonic()) * 1000))
            message = bytes(self._resource.read_raw())
            if not message:
                raise NoAnswer("the message has ended and there is no other")
            return with_line_feed(message)

    def drain(self) -> None:
        with _translated("clearing"):
            self._resource.clear()

    def has_waiting(self) -> bool:
        return False  # such links mark the ends of messages themselves

    def close(self) -> None:
        with _translated("closing"):
            self._resource.close()


class HislipLink(MessageLink):
    """HiSLIP (`TCPIP::host::hislip0,4880::INSTR`) through pyvisa-py."""

    _CHUNK = 1024 * 1024  # the fastest of those tried

    def __init__(self, address: str, host: str, port: int) -> None:
        try:
            super().__init__(address)
        except NotConnected as error:
            raise _told_apart(error, host, port) from error
        with _translated("opening"):
            session = self._resource.visalib.sessions[self._resource.session]
            self._socket: socket.socket = session.interface._sync

    def receive(self, deadline: float, interrupt: Interrupt) -> bytes:
        with _translated("reading"):
            _await_bytes(self._socket, deadline, interrupt)
        return super().receive(deadline, interrupt)

    def drain(self) -> None:
        raise ConnectionLost("HiSLIP that has lost step does not find it again")

    def has_waiting(self) -> bool:
        with _translated("looking"):
            return _has_waiting(self._socket)


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


def _await_bytes(link: socket.socket, deadline: float, interrupt: Interrupt) -> None:
    while not _readable(link, min(LOOK_UP_S, max(0.0, deadline - time.monotonic()))):
        if time.monotonic() >= deadline:
            raise NoAnswer("no answer in time")
        interrupt()


def _has_waiting(link: socket.socket) -> bool:
    if not _readable(link, 0.0):
        return False
    if not link.recv(1, socket.MSG_PEEK):
        raise ConnectionLost("the instrument closed the connection")
    return True


def _readable(link: socket.socket, seconds: float) -> bool:
    return bool(select.select([link], [], [], seconds)[0])


_CHECK_LINK = "Check that it is switched on, its cable, and the address in the bench file."


def _opened(address: str, failing: str) -> Any:
    """The resource at an address, by one attempt to connect."""
    try:
        return _resource_manager().open_resource(address, open_timeout=int(OPEN_TIMEOUT_S * 1000))
    except Exception as error:
        raise NotConnected(f"{failing} ({error})", advice=_CHECK_LINK) from error


def _told_apart(error: NotConnected, host: str, port: int) -> NotConnected:
    """Why a link could not be opened: nothing listens there, or what listens has no such instrument."""
    try:
        socket.create_connection((host, port), timeout=OPEN_TIMEOUT_S).close()
    except OSError as refused:
        return NotConnected(
            f"nothing answers on {host} port {port} ({refused.strerror or refused})", advice=_CHECK_LINK
        )
    return error


def open_link(address: str) -> Link:
    """Open the link that a VISA address names.

    Raises:
        NotConnected: nothing is there, or the address is not valid.
    """
    try:
        parsed = parse_address(address)
    except AddressError as error:
        raise NotConnected(str(error), advice="Correct the address in the bench file.") from error
    match parsed:
        case SocketAddress(host=host, port=port):
            return SocketLink(parsed.text, host, port)
        case LanAddress(host=host, hislip_port=int() as port):
            return HislipLink(parsed.text, host, port)
        case _:
            return MessageLink(parsed.text)
