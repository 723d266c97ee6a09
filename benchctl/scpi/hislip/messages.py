"""Messages of HiSLIP, the high-speed LAN instrument protocol (IVI-6.1): sixteen bytes of header, then the payload.

Feed bytes, take messages; no sockets. Numbers of messages and errors are those of IVI-6.1 tables 4, 14 and 16, read
from two public implementations that quote them.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from enum import IntEnum

from benchctl.scpi.errors import FormatError

# Prologue, message type, control code, message parameter, payload length; all big-endian (IVI-6.1 2.2).
_HEADER = struct.Struct("!2sBBIQ")
HEADER_BYTES = _HEADER.size
_PROLOGUE = b"HS"

PROTOCOL_VERSION = 0x0100
"""The version spoken here, 1.0: without the encryption and authentication of 2.0."""

FIRST_MESSAGE_ID = 0xFFFFFF00
"""A client's first MessageID; each message takes the next even one (IVI-6.1 3.1)."""

VENDOR_MESSAGES = 128
"""From this type on, each maker defines what a message means."""


class MessageType(IntEnum):
    """What a message is (IVI-6.1 table 4)."""

    INITIALIZE = 0
    INITIALIZE_RESPONSE = 1
    FATAL_ERROR = 2
    ERROR = 3
    ASYNC_LOCK = 4
    ASYNC_LOCK_RESPONSE = 5
    DATA = 6
    DATA_END = 7
    DEVICE_CLEAR_COMPLETE = 8
    DEVICE_CLEAR_ACKNOWLEDGE = 9
    ASYNC_REMOTE_LOCAL_CONTROL = 10
    ASYNC_REMOTE_LOCAL_RESPONSE = 11
    TRIGGER = 12
    INTERRUPTED = 13
    ASYNC_INTERRUPTED = 14
    ASYNC_MAXIMUM_MESSAGE_SIZE = 15
    ASYNC_MAXIMUM_MESSAGE_SIZE_RESPONSE = 16
    ASYNC_INITIALIZE = 17
    ASYNC_INITIALIZE_RESPONSE = 18
    ASYNC_DEVICE_CLEAR = 19
    ASYNC_SERVICE_REQUEST = 20
    ASYNC_STATUS_QUERY = 21
    ASYNC_STATUS_RESPONSE = 22
    ASYNC_DEVICE_CLEAR_ACKNOWLEDGE = 23
    ASYNC_LOCK_INFO = 24
    ASYNC_LOCK_INFO_RESPONSE = 25


class FatalErrorCode(IntEnum):
    """Why a server ends a connection (IVI-6.1 table 14)."""

    UNIDENTIFIED = 0
    POORLY_FORMED_HEADER = 1
    CHANNELS_NOT_ESTABLISHED = 2
    INVALID_INITIALIZATION = 3
    TOO_MANY_CLIENTS = 4


class ErrorCode(IntEnum):
    """Why a server ignored a message (IVI-6.1 table 16)."""

    UNIDENTIFIED = 0
    UNRECOGNIZED_TYPE = 1
    UNRECOGNIZED_CONTROL_CODE = 2
    UNRECOGNIZED_VENDOR_MESSAGE = 3
    MESSAGE_TOO_LARGE = 4


class PoorlyFormedHeaderError(FormatError):
    """What came is not a HiSLIP header, so the start of the next one is not known."""


class OversizeError(FormatError):
    """A payload is longer than was agreed; it is skipped, and reading goes on behind it."""


@dataclass(frozen=True)
class Message:
    """One message.

    Attributes:
        kind: a `MessageType`, or a number that IVI-6.1 does not know.
        control: control code, 0 to 255.
        parameter: 32 bits, whose meaning depends on the type: MessageID, session, timeout.
        payload: at most what was agreed.
    """

    kind: int
    control: int = 0
    parameter: int = 0
    payload: bytes = b""

    def encode(self) -> bytes:
        """The message as it goes over the wire."""
        return _HEADER.pack(_PROLOGUE, self.kind, self.control, self.parameter, len(self.payload)) + self.payload


class FrameReader:
    """Cuts one channel's bytes into messages; the pieces that arrive may have any size.

    Args:
        bound: longest payload in bytes, which may be changed between messages; no more than one and the last feed
            is ever held by a caller that takes messages as they come.
    """

    def __init__(self, bound: int) -> None:
        self.bound = bound
        self._buffer = bytearray()
        self._to_skip = 0

    def __len__(self) -> int:
        """How many bytes wait."""
        return len(self._buffer)

    def feed(self, data: bytes) -> None:
        """Take what came, in pieces of any size."""
        self._buffer += data

    def next_message(self) -> Message | None:
        """The next whole message, or None while more bytes are needed.

        Raises:
            PoorlyFormedHeaderError: nothing that follows can be read.
            OversizeError: once for each message with too long a payload.
        """
        if not self._skip() or not self._has_header():
            return None
        _, kind, control, parameter, length = _HEADER.unpack_from(self._buffer)
        if length > self.bound:
            del self._buffer[:HEADER_BYTES]
            self._to_skip = length
            raise OversizeError(f"a payload of {length} bytes; at most {self.bound} are taken")
        if len(self._buffer) < HEADER_BYTES + length:
            return None
        payload = bytes(self._buffer[HEADER_BYTES : HEADER_BYTES + length])
        del self._buffer[: HEADER_BYTES + length]
        return Message(kind, control, parameter, payload)

    def _skip(self) -> bool:
        """Skip the rest of a payload that is too long; True at its end."""
        passed = min(self._to_skip, len(self._buffer))
        del self._buffer[:passed]
        self._to_skip -= passed
        return not self._to_skip

    def _has_header(self) -> bool:
        # Checked from the first byte on: otherwise a client that sends plain SCPI here would wait for ever.
        if not _PROLOGUE.startswith(self._buffer[: len(_PROLOGUE)]):
            raise PoorlyFormedHeaderError(f"a message begins with {bytes(self._buffer[:2])!r}, not {_PROLOGUE!r}")
        return len(self._buffer) >= HEADER_BYTES


def split_reply(reply: bytes, message_id: int, largest: int) -> bytes:
    """A response as messages of at most `largest` bytes, headers included: Data, and DataEnd with its end."""
    room = largest - HEADER_BYTES
    pieces = [reply[start : start + room] for start in range(0, len(reply), room)]
    kinds = [MessageType.DATA] * (len(pieces) - 1) + [MessageType.DATA_END]
    return b"".join(Message(kind, 0, message_id, piece).encode() for kind, piece in zip(kinds, pieces, strict=True))
