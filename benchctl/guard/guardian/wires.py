"""The guardian's own way to an instrument: one new link, one message, one line.

There is no session and little recovery: a link that fails is dropped, and the next message opens another. A link that
worked and is closed now is replaced at once. Raw sockets need only the standard library. For any other address pyvisa
is imported, when it is certain that it is needed.
"""

from __future__ import annotations

import select
import socket
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from typing import TYPE_CHECKING

from benchctl.address import AddressError, SocketAddress, parse_address
from benchctl.errors import (
    ConnectionLost,
    GarbledAnswer,
    InstrumentError,
    NoAnswer,
    NotAcknowledged,
    NotConnected,
)
from benchctl.instruments.links.arrivals import Arrivals
from benchctl.instruments.links.opening import open_politely
from benchctl.instruments.links.settings import USUAL, LinkSettings
from benchctl.readable import answer_text

if TYPE_CHECKING:
    from benchctl.instruments.links.link import Link

# A working instrument accepts a link within milliseconds, even across a slow network.
CONNECT_S = 2.0
ANSWER_S = 2.0
# An instrument that acknowledges or echoes a message does so within this time, or is not waited for.
NOTE_S = 0.3
_RECEIVE_BYTES = 4096


def needs_pyvisa(address: str) -> bool:
    """Whether the address is anything but a raw socket."""
    return _raw_socket(address) is None


def load_pyvisa() -> None:
    """Import it now, while nobody waits for it."""
    import benchctl.instruments.links.transports.every_link  # noqa: F401, PLC0415


class GuardianWire:
    """Reaches one instrument past everything else; see `Wire`. Safe for several threads."""

    def __init__(self, address: str, settings: LinkSettings = USUAL) -> None:
        self._address = address
        self._settings = settings
        self._link: Link | None = None
        self._arrivals = Arrivals(self._receive, settings)
        self._lock = threading.Lock()
        self.answer_s = max(ANSWER_S, settings.timeout_s)

    def command_urgently(self, text: str) -> None:
        """Send one message.

        Raises:
            InstrumentError: it could not be sent.
        """
        with self._lock:
            self._on_link(lambda link: self._tell(link, text))

    def ask_urgently(self, text: str) -> str:
        """Send one question and return the line that answers it.

        Raises:
            InstrumentError: no answer came.
        """
        with self._lock:
            return self._on_link(lambda link: self._ask(link, text))

    def close(self) -> None:
        """Drop the link."""
        with self._lock:
            self._drop()

    def _tell(self, link: Link, text: str) -> None:
        """Send a command. An acknowledgement of it is read before the next answer; here it is not waited for."""
        self._send(link, text, is_question=False)

    def _ask(self, link: Link, text: str) -> str:
        self._send(link, text, is_question=True)
        deadline = time.monotonic() + self.answer_s
        answer = answer_text(self._arrivals.line(deadline, _nothing))
        self._arrivals.answered(text)
        return answer

    def _send(self, link: Link, text: str, *, is_question: bool) -> None:
        """Send a message. An instrument that acknowledges each message expects the next one only after that; but to
        send comes first.
        """
        with suppress(NoAnswer, GarbledAnswer, NotAcknowledged):
            self._arrivals.attend(time.monotonic() + NOTE_S, _nothing)
        data = text.encode("ascii") + self._settings.ends.sent
        link.send(data)
        self._arrivals.sent(data, is_question=is_question)

    def _receive(self, deadline: float, interrupt: Callable[[], None]) -> bytes:
        if self._link is None:
            raise ConnectionLost("the link is closed")
        return self._link.receive(deadline, interrupt)

    def _on_link(self, exchange: Callable[[Link], str | None]) -> str:
        """Exchange on the open link, or on a new one. After a failure the link is dropped, so that no old answer is
        left on it.
        """
        stood, reopen_after_s = self._link is not None, self._settings.reopen_after_s
        try:
            return self._once(exchange)
        except (ConnectionLost, NotConnected) as error:
            # Some instruments close a link after an answer or after a pause; with others, the run's link is not free
            # yet.
            if not reopen_after_s and (isinstance(error, NotConnected) or not stood):
                raise
        time.sleep(reopen_after_s)
        return self._once(exchange)

    def _once(self, exchange: Callable[[Link], str | None]) -> str:
        if not self._is_sound():
            self._drop()
        try:
            if self._link is None:
                self._link = open_politely(self._address, self._settings, _open)
                self._arrivals.begin(marks_ends=self._link.marks_ends)
            return exchange(self._link) or ""
        except InstrumentError:
            self._drop()
            raise

    def _is_sound(self) -> bool:
        """Whether there is an open link without an answer on it that nobody waits for.

        The system would accept the first write into a link that the peer has closed, and the message would be lost.
        """
        try:
            if self._link is None or self._arrivals:
                return False
            return not self._link.has_waiting() or self._arrivals.expects
        except InstrumentError:
            return False

    def _drop(self) -> None:
        link, self._link = self._link, None
        if link is not None:
            link.close()


class RawSocketLink:
    """A raw TCP socket as a `Link`, without pyvisa."""

    marks_ends = False

    def __init__(self, host: str, port: int) -> None:
        try:
            self._socket = socket.create_connection((host, port), timeout=CONNECT_S)
        except OSError as error:
            raise NotConnected(f"nothing answers on {host} port {port} ({error})") from error
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def send(self, data: bytes) -> None:
        """Send all of `data`."""
        try:
            self._socket.sendall(data)
        except OSError as error:
            raise ConnectionLost(f"sending: {error}") from error

    def receive(self, deadline: float, interrupt: Callable[[], None]) -> bytes:
        """At least one byte; `deadline` is on time.monotonic()."""
        interrupt()
        self._socket.settimeout(max(0.001, deadline - time.monotonic()))
        try:
            data = self._socket.recv(_RECEIVE_BYTES)
        except TimeoutError as error:
            raise NoAnswer("no answer in time") from error
        except OSError as error:
            raise ConnectionLost(f"reading: {error}") from error
        if not data:
            raise ConnectionLost("the instrument closed the connection")
        return data

    def drain(self) -> None:
        """Does nothing: the guardian drops a link that fails."""

    def has_waiting(self) -> bool:
        """Whether bytes have arrived that nobody asked for; raises ConnectionLost where the peer has closed."""
        if not select.select([self._socket], [], [], 0.0)[0]:
            return False
        if not self._peek():
            raise ConnectionLost("the instrument closed the connection")
        return True

    def _peek(self) -> bytes:
        try:
            return self._socket.recv(1, socket.MSG_PEEK)
        except OSError as error:
            raise ConnectionLost(f"reading: {error}") from error

    def close(self) -> None:
        """Close for good."""
        self._socket.close()


def _open(address: str, settings: LinkSettings) -> Link:
    raw = _raw_socket(address)
    if raw is not None:
        return RawSocketLink(raw.host, raw.port)
    from benchctl.instruments.links.transports import every_link  # noqa: PLC0415 - half a second that raw sockets need not wait

    return every_link.open_link(address, settings)


def _raw_socket(address: str) -> SocketAddress | None:
    """Where the raw socket is; None for any other address, and for an invalid one, which pyvisa then refuses."""
    with suppress(AddressError):
        parsed = parse_address(address)
        return parsed if isinstance(parsed, SocketAddress) else None
    return None


def _nothing() -> None:
    """Does nothing: nothing interrupts the guardian."""
