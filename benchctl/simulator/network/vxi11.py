"""An instrument behind VXI-11: one connection's side of the core channel (VXI-11 revision 1.0, B.6).

What clients need to talk: links, writes, reads with a time limit, the status byte and device clear. Locks, service
requests and the abort channel are answered as not supported. There is no port mapper; the address names the port.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from benchctl.scpi.device.conversation import Conversation
from benchctl.simulator.network.rpc import (
    GARBAGE_ARGUMENTS,
    PROCEDURE_UNAVAILABLE,
    PROGRAM_UNAVAILABLE,
    Call,
    RecordError,
    Records,
    packed,
)

CORE_PROGRAM, CORE_VERSION = 0x0607AF, 1
NO_ERROR, NOT_ACCESSIBLE, INVALID_LINK, NOT_SUPPORTED, TIMED_OUT = 0, 3, 4, 8, 15
END_OF_MESSAGE = 8
"""The flag of a write that ends its message (B.5.3)."""

COUNT_REACHED, END_REACHED = 1, 4
"""Why a read ends (B.6.4)."""

LARGEST_WRITE = 1 << 20
_LONGEST_RECORD = LARGEST_WRITE + 1024
_STATUS_BYTE = 13


@dataclass
class _Link:
    """One link of a client: its conversation, and what of an answer was not read yet."""

    conversation: Conversation
    answer: bytearray = field(default_factory=bytearray)


@dataclass
class _Read:
    """A read that waits for an answer."""

    call: Call
    link: _Link
    count: int
    until_s: float


class Vxi11Channel:
    """One connection to the core channel.

    Args:
        name: of the instrument, such as inst0.
        converse: begins a conversation with it.
        now: the time, in which reads end.
    """

    is_over = False

    def __init__(self, name: str, converse: Callable[[], Conversation], now: Callable[[], float]) -> None:
        self._name = name.lower()
        self._converse = converse
        self._now = now
        self._records = Records(_LONGEST_RECORD)
        self._links: dict[int, _Link] = {}
        self._output = bytearray()
        self._reading: _Read | None = None

    @property
    def is_waiting(self) -> bool:
        """Whether a read waits for its answer, or a message for an operation to end."""
        return self._reading is not None or any(link.conversation.is_waiting for link in self._links.values())

    @property
    def wants_input(self) -> bool:
        """False while no more should be read from the connection."""
        return len(self._records) <= _LONGEST_RECORD

    def receive(self, data: bytes) -> None:
        """Take bytes and answer the calls that are whole; a client calls again only once it was answered."""
        self._records.feed(data)
        try:
            while self._reading is None and (record := self._records.next_record()) is not None:
                self._answer(Call.parse(record))
        except RecordError:
            self.is_over = True

    def resume(self) -> None:
        """Go on with a read that waits."""
        for link in self._links.values():
            link.conversation.resume()
        self._go_on_reading()

    def collect(self) -> bytes:
        """Everything there is to send."""
        output = bytes(self._output)
        self._output.clear()
        return output

    def close(self) -> None:
        """The connection is gone, and its links with it."""
        for link in self._links.values():
            link.conversation.close()
        self._links.clear()

    def _answer(self, call: Call) -> None:
        if (call.program, call.version) != (CORE_PROGRAM, CORE_VERSION):
            self._output += call.reply(status=PROGRAM_UNAVAILABLE)
            return
        act = _PROCEDURES.get(call.procedure)
        if act is None:
            self._output += call.reply(status=PROCEDURE_UNAVAILABLE)
            return
        try:
            results = act(self, call)
        except RecordError:
            self._output += call.reply(status=GARBAGE_ARGUMENTS)
            return
        if results is not None:
            self._output += call.reply(results)

    # -- what each procedure does: its results, or None if they come later ---------------------------------------

    def _nothing(self, _: Call) -> bytes:
        return b""

    def _create_link(self, call: Call) -> bytes:
        arguments = call.arguments
        _client, _lock, _lock_timeout, device = (
            arguments.number(), arguments.number(), arguments.number(), arguments.opaque(),
        )  # fmt: skip
        if device.decode("latin-1").lower() != self._name:
            return packed(NOT_ACCESSIBLE, 0, 0, 0)
        number = max(self._links, default=0) + 1
        self._links[number] = _Link(self._converse())
        return packed(NO_ERROR, number, 0, LARGEST_WRITE)

    def _write(self, call: Call) -> bytes:
        link = self._link(call)
        _timeout, _lock_timeout, flags = (call.arguments.number() for _ in range(3))
        data = call.arguments.opaque()
        if link is None:
            return packed(INVALID_LINK, 0)
        link.answer.clear()  # a new message interrupts the answer to the one before (IEEE 488.2, 6.3.2.3)
        link.conversation.receive(data, end=bool(flags & END_OF_MESSAGE))
        return packed(NO_ERROR, len(data))

    def _read(self, call: Call) -> bytes | None:
        link = self._link(call)
        count, timeout_ms, _lock_timeout, _flags, _end = (call.arguments.number() for _ in range(5))
        if link is None:
            return packed(INVALID_LINK, 0, b"")
        self._reading = _Read(call, link, count, self._now() + timeout_ms / 1000.0)
        self._go_on_reading()
        return None

    def _go_on_reading(self) -> None:
        reading = self._reading
        if reading is None:
            return
        link = reading.link
        if not link.answer:
            link.answer += link.conversation.collect()
        if link.answer:
            data = bytes(link.answer[: reading.count])
            del link.answer[: reading.count]
            why = COUNT_REACHED if link.answer else END_REACHED
            self._output += reading.call.reply(packed(NO_ERROR, why, data))
        elif self._now() >= reading.until_s:
            self._output += reading.call.reply(packed(TIMED_OUT, 0, b""))
        else:
            return
        self._reading = None

    def _status_byte(self, call: Call) -> bytes:
        link = self._link(call)
        if link is None:
            return packed(INVALID_LINK, 0)
        has_message = bool(link.answer) or link.conversation.has_output
        return packed(NO_ERROR, link.conversation.device.status_byte(has_message=has_message))

    def _clear(self, call: Call) -> bytes:
        link = self._link(call)
        if link is None:
            return packed(INVALID_LINK)
        link.answer.clear()
        link.conversation.clear()
        return packed(NO_ERROR)

    def _succeed(self, call: Call) -> bytes:
        """Remote and local: a simulated instrument has no panel."""
        return packed(INVALID_LINK if self._link(call) is None else NO_ERROR)

    def _refuse(self, _: Call) -> bytes:
        return packed(NOT_SUPPORTED)

    def _destroy_link(self, call: Call) -> bytes:
        link = self._links.pop(call.arguments.number(), None)
        if link is None:
            return packed(INVALID_LINK)
        link.conversation.close()
        return packed(NO_ERROR)

    def _link(self, call: Call) -> _Link | None:
        return self._links.get(call.arguments.number())


_PROCEDURES: Mapping[int, Callable[[Vxi11Channel, Call], bytes | None]] = {
    0: Vxi11Channel._nothing,
    10: Vxi11Channel._create_link,
    11: Vxi11Channel._write,
    12: Vxi11Channel._read,
    _STATUS_BYTE: Vxi11Channel._status_byte,
    14: Vxi11Channel._refuse,  # trigger
    15: Vxi11Channel._clear,
    16: Vxi11Channel._succeed,  # remote
    17: Vxi11Channel._succeed,  # local
    18: Vxi11Channel._refuse,  # lock
    19: Vxi11Channel._refuse,  # unlock
    20: Vxi11Channel._refuse,  # enable service requests
    23: Vxi11Channel._destroy_link,
    25: Vxi11Channel._refuse,  # interrupt channel
    26: Vxi11Channel._refuse,
}
