"""One HiSLIP client of one instrument: what the messages on its two channels do.

Clause numbers are those of IVI-6.1. Nothing here touches a socket.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Protocol

from benchctl.scpi.conversation import Conversation
from benchctl.scpi.hislip import (
    HEADER_BYTES,
    VENDOR_MESSAGES,
    ErrorCode,
    FatalErrorCode,
    Message,
    MessageType,
)
from benchctl.scpi.hislip_exchange import RMT_DELIVERED, USUAL_MESSAGE, Exchange
from benchctl.scpi.hislip_locks import LockAnswer, LockTable
from benchctl.scpi.reader import PROGRAM_MESSAGE_BOUND
from benchctl.scpi.status import StatusByte

# A payload is a piece of a program message, so none is longer than the longest of those.
LARGEST_PAYLOAD = PROGRAM_MESSAGE_BOUND
# Below this the headers would outweigh the data many times over.
SMALLEST_MESSAGE = 256

SYNCHRONIZED = 0
"""Overlap bit of InitializeResponse and of the feature bitmaps: off, whatever the client would like."""

_LOCK_RELEASE, _LOCK_REQUEST = 0, 1
_ANY = 0xFF

# Highest control code of the messages that have one.
_HIGHEST_CONTROL: Mapping[int, int] = {
    MessageType.DATA: RMT_DELIVERED,
    MessageType.DATA_END: RMT_DELIVERED,
    MessageType.TRIGGER: RMT_DELIVERED,
    MessageType.ASYNC_STATUS_QUERY: RMT_DELIVERED,
    MessageType.ASYNC_LOCK: _LOCK_REQUEST,
    MessageType.ASYNC_REMOTE_LOCAL_CONTROL: 6,
    MessageType.DEVICE_CLEAR_COMPLETE: _ANY,
    MessageType.ERROR: _ANY,
}


class Outlet(Protocol):
    """One of the client's two channels, as its session sees it."""

    def send(self, message: Message) -> None:
        """Queue a message."""

    def send_encoded(self, messages: bytes) -> None:
        """Queue whole messages."""

    def fail(self, code: FatalErrorCode, text: str) -> None:
        """Say why, and end both channels."""

    def end(self) -> None:
        """End both channels."""

    def break_off(self, error: ConnectionError) -> None:
        """The link breaks here, once what was queued before has left."""


@dataclass(frozen=True)
class _Claim:
    """A lock that the client waits for."""

    name: bytes
    deadline: float


class HislipSession:
    """A client whose two channels are open.

    Args:
        conversation: the client's with the instrument, interruptible.
        locks: the instrument's locks, shared likewise.
        now: real time in seconds, for lock requests that may wait.
    """

    def __init__(
        self,
        conversation: Conversation,
        locks: LockTable[HislipSession],
        synchronous: Outlet,
        asynchronous: Outlet,
        now: Callable[[], float],
    ) -> None:
        self.device = conversation.device
        self.locks = locks
        self.exchange = Exchange(conversation, synchronous.send_encoded, self._announce_interruption)
        self._synchronous = synchronous
        self._asynchronous = asynchronous
        self._now = now
        self._claim: _Claim | None = None
        self._asks_for_service = False
        self._has_request = False

    @property
    def takes_messages(self) -> bool:
        """Whether the next message of the synchronous channel may be handled now.

        Not while another client's lock holds this one back, nor while the instrument has no room.
        """
        is_free = self.locks.admits(self) and self.exchange.conversation.wants_input
        return is_free or self.exchange.is_clearing

    @property
    def is_waiting(self) -> bool:
        """Whether something waits for time to pass: call `resume` now and then."""
        return self._claim is not None or self.exchange.conversation.is_waiting

    def handle_synchronous(self, message: Message) -> None:
        """Act on a message of the synchronous channel."""
        self._dispatch(message, _SYNCHRONOUS, self._synchronous)

    def handle_asynchronous(self, message: Message) -> None:
        """Act on a message of the asynchronous channel."""
        self._dispatch(message, _ASYNCHRONOUS, self._asynchronous)

    def resume(self) -> None:
        """Look whether an operation has ended, or a lock has become free or is given up."""
        with self._breaking_off():
            self.exchange.resume()
        self.try_claim()

    def try_claim(self) -> None:
        """Take the lock that the client waits for if it is free now; answer then, or once the time is over."""
        if self._claim is None:
            return
        answer = self.locks.request(self, self._claim.name)
        if answer is not LockAnswer.FAILURE or self._now() >= self._claim.deadline:
            self._claim = None
            self._answer(MessageType.ASYNC_LOCK_RESPONSE, answer)

    def request_service(self) -> None:
        """Tell the client when the instrument begins to ask for service; not again before the client polls (6.13)."""
        if self._notice_request():
            self._answer(MessageType.ASYNC_SERVICE_REQUEST, self._status_byte())

    def end(self) -> None:
        """The client is gone, and its locks with it."""
        self._claim = None
        self.locks.forget(self)

    def _dispatch(self, message: Message, handlers: Mapping[int, _Handler], outlet: Outlet) -> None:
        handler = handlers.get(message.kind)
        if message.kind in (MessageType.INITIALIZE, MessageType.ASYNC_INITIALIZE):
            outlet.fail(FatalErrorCode.INVALID_INITIALIZATION, "this channel is initialized already")
        elif message.kind == MessageType.FATAL_ERROR:
            outlet.end()
        elif handler is None:
            is_vendors = message.kind >= VENDOR_MESSAGES
            code = ErrorCode.UNRECOGNIZED_VENDOR_MESSAGE if is_vendors else ErrorCode.UNRECOGNIZED_TYPE
            outlet.send(error_message(code, f"message type {message.kind} means nothing on this channel"))
        elif message.control > _HIGHEST_CONTROL.get(message.kind, 0):
            text = f"message type {message.kind} has no control code {message.control}"
            outlet.send(error_message(ErrorCode.UNRECOGNIZED_CONTROL_CODE, text))
        else:
            with self._breaking_off():
                handler(self, message)

    @contextmanager
    def _breaking_off(self) -> Iterator[None]:
        """A conversation may say that its link is broken; that happens behind what it has answered so far."""
        try:
            yield
        except ConnectionError as error:
            self._synchronous.break_off(error)

    def _answer(self, kind: MessageType, control: int = 0, parameter: int = 0, payload: bytes = b"") -> None:
        self._asynchronous.send(Message(kind, control, parameter, payload))

    def _announce_interruption(self, message_id: int) -> None:
        self._answer(MessageType.ASYNC_INTERRUPTED, 0, message_id)
        self._synchronous.send(Message(MessageType.INTERRUPTED, 0, message_id))

    def _status_byte(self) -> int:
        return self.device.status_byte(has_message=self.exchange.has_unread)

    def _notice_request(self) -> bool:
        """Whether the instrument has begun to ask for service, and no earlier request still waits for a poll."""
        asks = bool(self._status_byte() & StatusByte.MASTER_SUMMARY)
        is_new = asks and not self._asks_for_service and not self._has_request
        self._asks_for_service = asks
        self._has_request = self._has_request or is_new
        return is_new

    # -- what each message does --------------------------------------------------------------------------------

    def _take_data(self, message: Message) -> None:
        self.exchange.take_data(message)

    def _take_trigger(self, message: Message) -> None:
        self.exchange.take_trigger(message)

    def _complete_clear(self, _: Message) -> None:
        if not self.exchange.is_clearing:
            self._synchronous.send(error_message(ErrorCode.UNIDENTIFIED, "no device clear is under way"))
            return
        self.exchange.is_clearing = False
        self._synchronous.send(Message(MessageType.DEVICE_CLEAR_ACKNOWLEDGE, SYNCHRONIZED))

    def _ignore(self, _: Message) -> None:
        """An Error says that the client passed over a message of ours; nothing can be done about it."""

    def _begin_clear(self, _: Message) -> None:
        self.exchange.begin_clear()
        self._answer(MessageType.ASYNC_DEVICE_CLEAR_ACKNOWLEDGE, SYNCHRONIZED)

    def _agree_size(self, message: Message) -> None:
        """Each side says what it takes: the client's figure bounds our messages, ours the client's (table 28)."""
        size = int.from_bytes(message.payload, "big")
        if len(message.payload) != 8 or size < SMALLEST_MESSAGE:
            text = f"a message size has eight bytes and is {SMALLEST_MESSAGE} or more"
            self._asynchronous.send(error_message(ErrorCode.UNIDENTIFIED, text))
            return
        self.exchange.largest = min(size, USUAL_MESSAGE)
        ours = struct.pack("!Q", LARGEST_PAYLOAD + HEADER_BYTES)
        self._answer(MessageType.ASYNC_MAXIMUM_MESSAGE_SIZE_RESPONSE, payload=ours)

    def _lock(self, message: Message) -> None:
        """Release, or request with a time in milliseconds that the client is ready to wait (6.5)."""
        if message.control == _LOCK_RELEASE:
            self._answer(MessageType.ASYNC_LOCK_RESPONSE, self.locks.release(self))
        elif self._claim is not None:
            self._answer(MessageType.ASYNC_LOCK_RESPONSE, LockAnswer.ERROR)
        else:
            self._claim = _Claim(message.payload, self._now() + message.parameter / 1000.0)
            self.try_claim()

    def _tell_locks(self, _: Message) -> None:
        self._answer(MessageType.ASYNC_LOCK_INFO_RESPONSE, int(self.locks.is_exclusive), self.locks.holders)

    def _control_remote(self, _: Message) -> None:
        """There is no front panel whose keys could be locked, so every request is met as it comes."""
        self._answer(MessageType.ASYNC_REMOTE_LOCAL_RESPONSE)

    def _poll(self, message: Message) -> None:
        """A serial poll: bit 6 is the request for service, which the poll takes (6.13, 6.14; IEEE 488.2 11.2.2.1)."""
        has_message = self.exchange.take_poll(message)
        self._notice_request()
        status = self.device.status_byte(has_message=has_message) & ~StatusByte.MASTER_SUMMARY
        if self._has_request:
            status |= StatusByte.MASTER_SUMMARY
        self._has_request = False
        self._answer(MessageType.ASYNC_STATUS_RESPONSE, status)


def error_message(code: ErrorCode, text: str) -> Message:
    """An Error: the message in question was passed over, everything else stands."""
    return Message(MessageType.ERROR, code, 0, text.encode("ascii"))


_Handler = Callable[[HislipSession, Message], None]

_SYNCHRONOUS: Mapping[int, _Handler] = {
    MessageType.DATA: HislipSession._take_data,
    MessageType.DATA_END: HislipSession._take_data,
    MessageType.TRIGGER: HislipSession._take_trigger,
    MessageType.DEVICE_CLEAR_COMPLETE: HislipSession._complete_clear,
    MessageType.ERROR: HislipSession._ignore,
}
_ASYNCHRONOUS: Mapping[int, _Handler] = {
    MessageType.ASYNC_DEVICE_CLEAR: HislipSession._begin_clear,
    MessageType.ASYNC_MAXIMUM_MESSAGE_SIZE: HislipSession._agree_size,
    MessageType.ASYNC_LOCK: HislipSession._lock,
    MessageType.ASYNC_LOCK_INFO: HislipSession._tell_locks,
    MessageType.ASYNC_REMOTE_LOCAL_CONTROL: HislipSession._control_remote,
    MessageType.ASYNC_STATUS_QUERY: HislipSession._poll,
    MessageType.ERROR: HislipSession._ignore,
}
