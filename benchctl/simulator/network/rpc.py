"""Remote procedure calls over TCP, as VXI-11 uses them: records (RFC 5531, 11), calls and replies (RFC 5531, 9).

And the few types of XDR that it needs (RFC 4506). Bytes in, bytes out; no sockets.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

# Of the header of a fragment: whether it is the record's last, and its length.
_LAST, _LENGTH = 0x8000_0000, 0x7FFF_FFFF
_WORD = 4
_CALL, _REPLY = 0, 1
_RPC_VERSION = 2
_ACCEPTED, _NO_AUTHENTICATION = 0, 0
SUCCESS, PROGRAM_UNAVAILABLE, PROCEDURE_UNAVAILABLE, GARBAGE_ARGUMENTS = 0, 1, 3, 4


class RecordError(ValueError):
    """What came is no record, or one that is too long."""


class Records:
    """Cuts a stream into records; the pieces that arrive may have any size."""

    def __init__(self, bound: int) -> None:
        self._bound = bound
        self._buffer = bytearray()
        self._record = bytearray()

    def __len__(self) -> int:
        """How many bytes wait."""
        return len(self._buffer) + len(self._record)

    def feed(self, data: bytes) -> None:
        """Take what came."""
        self._buffer += data

    def next_record(self) -> bytes | None:
        """The next whole record; None while more bytes are needed.

        Raises:
            RecordError: it is longer than the bound.
        """
        while len(self._buffer) >= _WORD:
            (header,) = struct.unpack_from("!I", self._buffer)
            length = header & _LENGTH
            if len(self._record) + length > self._bound:
                raise RecordError("the record is too long")
            if len(self._buffer) < _WORD + length:
                return None
            self._record += self._buffer[_WORD : _WORD + length]
            del self._buffer[: _WORD + length]
            if header & _LAST:
                record = bytes(self._record)
                self._record.clear()
                return record
        return None


class Reader:
    """Takes values out of XDR, one after another."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    def number(self) -> int:
        """An unsigned integer, a boolean, or one of an enumeration.

        Raises:
            RecordError: there is none.
        """
        if self._at + _WORD > len(self._data):
            raise RecordError("a number is missing")
        (value,) = struct.unpack_from("!I", self._data, self._at)
        self._at += _WORD
        return int(value)

    def opaque(self) -> bytes:
        """Bytes with their count before them, or a string.

        Raises:
            RecordError: there are fewer.
        """
        count = self.number()
        if self._at + count > len(self._data):
            raise RecordError("bytes are missing")
        data = self._data[self._at : self._at + count]
        self._at += count + -count % _WORD
        return data


def packed(*values: int | bytes) -> bytes:
    """Values in XDR: numbers, and bytes with their count before them."""
    parts = []
    for value in values:
        if isinstance(value, int):
            parts.append(struct.pack("!I", value & 0xFFFF_FFFF))
        else:
            parts.append(struct.pack("!I", len(value)) + value + bytes(-len(value) % _WORD))
    return b"".join(parts)


@dataclass(frozen=True)
class Call:
    """One call: its number, what is called, and its arguments."""

    number: int
    program: int
    version: int
    procedure: int
    arguments: Reader

    @classmethod
    def parse(cls, record: bytes) -> Call:
        """Read a record.

        Raises:
            RecordError: it is no call.
        """
        reader = Reader(record)
        number, kind, version = reader.number(), reader.number(), reader.number()
        if (kind, version) != (_CALL, _RPC_VERSION):
            raise RecordError("this is no call")
        program, program_version, procedure = reader.number(), reader.number(), reader.number()
        for _ in range(2):  # credentials and verifier
            reader.number()
            reader.opaque()
        return cls(number, program, program_version, procedure, reader)

    def reply(self, results: bytes = b"", status: int = SUCCESS) -> bytes:
        """The record that answers it."""
        body = packed(self.number, _REPLY, _ACCEPTED, _NO_AUTHENTICATION, 0, status) + results
        return struct.pack("!I", _LAST | len(body)) + body
