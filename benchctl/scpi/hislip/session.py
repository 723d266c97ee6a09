"""One HiSLIP client of one instrument: what the messages on its two channels do.

These are the messages that pyvisa-py and lxi-tools send: data, device clear, polls of the status byte, the size of
messages. Locks, requests for service, remote control and the trigger message are not served: the client is told that
the type is unknown, as IVI-6.1 asks. Clause numbers are those of IVI-6.1. Nothing here touches a socket.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Protocol

from benchctl.scpi.device.conversation import Conversation
from benchctl.scpi.hislip.exchange import RMT_DELIVERED, USUAL_MESSAGE, Exchange
from benchctl.scpi.hislip.messages import (
    HEADER_BYTES,
    VENDOR_MESSAGES,
    ErrorCode,
    FatalErrorCode,
    Message,
    MessageType,
)
from benchctl.scpi.reader import PROGRAM_MESSAGE_BOUND

# A payload is a piece of a program message, so it is never longer than the longest program message.
LARGEST_PAYLOAD = PROGRAM_MESSAGE_BOUND
# With less, the headers would be many times the data.
SMALLEST_MESSAGE = 256

SYNCHRONIZED = 0
"""Overlap bit of InitializeResponse and of the feature bitmaps: always off."""

_ANY = 0xFF

# Highest control code of the messages that have one.
_HIGHEST_CONTROL: Mapping[int, int] = {
    MessageType.DATA: RMT_DELIVERED,
    MessageType.DATA_END: RMT_DELIVERED,
    MessageType.ASYNC_STATUS_QUERY: RMT_DELIVERED,
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
        """Send the reason, and end both channels."""

    def end(self) -> None:
        """End both channels."""

    def break_off(self, error: ConnectionError) -> None:
        """Break the link once what was queued before has been sent."""


class HislipSession:
    """A client whose two channels are open.

    Args:
        conversation: the client's with the instrument, interruptible.
    """

    def __init__(self, conversation: Conversation, synchronous: Outlet, asynchronous: Outlet) -> None:
        self.device = conversation.device
        self.exchange = Exchange(conversation, synchronous.send_encoded, self._announce_interruption)
        self._synchronous = synchronous
        self._asynchronous = asynchronous

    @property
    def takes_messages(self) -> bool:
        """Whether the next message of the synchronous channel may be handled now: the instrument has room for it."""
        return self.exchange.conversation.wants_input or self.exchange.is_clearing

    @property
    def is_waiting(self) -> bool:
        """Whether something waits for time to pass: call `resume` now and then."""
        return self.exchange.conversation.is_waiting

    def handle_synchronous(self, message: Message) -> None:
        """Act on a message of the synchronous channel."""
        self._dispatch(message, _SYNCHRONOUS, self._synchronous)

    def handle_asynchronous(self, message: Message) -> None:
        """Act on a message of the asynchronous channel."""
        self._dispatch(message, _ASYNCHRONOUS, self._asynchronous)

    def resume(self) -> None:
        """Go on if an operation has ended."""
        with self._breaking_off():
            self.exchange.resume()

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
        """A conversation may say that its link is broken; the link breaks after what was answered so far is sent."""
        try:
            yield
        except ConnectionError as error:
            self._synchronous.break_off(error)

    def _answer(self, kind: MessageType, control: int = 0, parameter: int = 0, payload: bytes = b"") -> None:
        self._asynchronous.send(Message(kind, control, parameter, payload))

    def _announce_interruption(self, message_id: int) -> None:
        self._answer(MessageType.ASYNC_INTERRUPTED, 0, message_id)
        self._synchronous.send(Message(MessageType.INTERRUPTED, 0, message_id))

    # -- what each message does --------------------------------------------------------------------------------

    def _take_data(self, message: Message) -> None:
        self.exchange.take_data(message)

    def _complete_clear(self, _: Message) -> None:
        if not self.exchange.is_clearing:
            self._synchronous.send(error_message(ErrorCode.UNIDENTIFIED, "no device clear is under way"))
            return
        self.exchange.is_clearing = False
        self._synchronous.send(Message(MessageType.DEVICE_CLEAR_ACKNOWLEDGE, SYNCHRONIZED))

    def _ignore(self, _: Message) -> None:
        """An Error says that the client ignored a message from here; nothing can be done about it."""

    def _begin_clear(self, _: Message) -> None:
        self.exchange.begin_clear()
        self._answer(MessageType.ASYNC_DEVICE_CLEAR_ACKNOWLEDGE, SYNCHRONIZED)

    def _agree_size(self, message: Message) -> None:
        """Each side says the longest message that it takes; the other side sends no longer ones (table 28)."""
        size = int.from_bytes(message.payload, "big")
        if len(message.payload) != 8 or size < SMALLEST_MESSAGE:
            text = f"a message size has eight bytes and is {SMALLEST_MESSAGE} or more"
            self._asynchronous.send(error_message(ErrorCode.UNIDENTIFIED, text))
            return
        self.exchange.largest = min(size, USUAL_MESSAGE)
        ours = struct.pack("!Q", LARGEST_PAYLOAD + HEADER_BYTES)
        self._answer(MessageType.ASYNC_MAXIMUM_MESSAGE_SIZE_RESPONSE, payload=ours)

    def _poll(self, message: Message) -> None:
        """A poll of the status byte (6.14); bit 6 is the master summary, as in *STB?, as nobody requests service."""
        has_message = self.exchange.take_poll(message)
        self._answer(MessageType.ASYNC_STATUS_RESPONSE, self.device.status_byte(has_message=has_message))


def error_message(code: ErrorCode, text: str) -> Message:
    """An Error: this one message was ignored, everything else goes on."""
    return Message(MessageType.ERROR, code, 0, text.encode("ascii"))


_Handler = Callable[[HislipSession, Message], None]

_SYNCHRONOUS: Mapping[int, _Handler] = {
    MessageType.DATA: HislipSession._take_data,
    MessageType.DATA_END: HislipSession._take_data,
    MessageType.DEVICE_CLEAR_COMPLETE: HislipSession._complete_clear,
    MessageType.ERROR: HislipSession._ignore,
}
_ASYNCHRONOUS: Mapping[int, _Handler] = {
    MessageType.ASYNC_DEVICE_CLEAR: HislipSession._begin_clear,
    MessageType.ASYNC_MAXIMUM_MESSAGE_SIZE: HislipSession._agree_size,
    MessageType.ASYNC_STATUS_QUERY: HislipSession._poll,
    MessageType.ERROR: HislipSession._ignore,
}
