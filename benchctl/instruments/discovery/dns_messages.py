"""Questions and answers of DNS, as far as the discovery of services needs them (RFC 1035, RFC 6763).

Bytes in, records out. A message comes from a network, so nothing in it is believed: every length is checked, and a name
that points at itself ends.
"""

from __future__ import annotations

import socket
import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

# Types of records: RFC 1035, 3.2.2, and RFC 2782 for SRV.
A, PTR, TXT, SRV = 1, 12, 16, 33
_INTERNET = 1
# RFC 6762, 10.2: the top bit of the class says that older records are to be forgotten.
_CLASS_BITS = 0x7FFF
# RFC 1035, 4.1.4: two set bits begin a pointer to an earlier name; 2.3.4: a name has at most 255 bytes.
_POINTER = 0xC0
_LONGEST_NAME = 255
_MOST_POINTERS = 64
_HEADER = struct.Struct("!6H")
_RECORD = struct.Struct("!HHIH")
_IS_ANSWER = 0x8000


class MessageError(ValueError):
    """The bytes are no message of DNS."""


@dataclass(frozen=True)
class Place:
    """Where a service is: SRV of RFC 2782."""

    host: str
    port: int


@dataclass(frozen=True)
class Record:
    """One record; `data` is a name (PTR), a place (SRV), an address (A) or key=value texts (TXT)."""

    name: str
    kind: int
    data: str | Place | dict[str, str]


def question(asked: Sequence[tuple[str, int]]) -> bytes:
    """One message that asks for the records of these names and types."""
    body = b"".join(_written(name) + struct.pack("!HH", kind, _INTERNET) for name, kind in asked)
    return _HEADER.pack(0, 0, len(asked), 0, 0, 0) + body


def records(message: bytes) -> list[Record]:
    """The records of an answer; of types that are not asked for here, none.

    Raises:
        MessageError: it is no message of DNS, or is cut off.
    """
    try:
        return list(_records(message))
    except (struct.error, IndexError, UnicodeError, OSError) as error:
        raise MessageError(str(error)) from error


def _records(message: bytes) -> Iterator[Record]:
    _, flags, questions, *counts = _HEADER.unpack_from(message)
    if not flags & _IS_ANSWER:
        return
    at = _HEADER.size
    for _ in range(questions):
        _, at = _name(message, at)
        at += 4
    for _ in range(sum(counts)):
        name, at = _name(message, at)
        kind, family, _, length = _RECORD.unpack_from(message, at)
        at += _RECORD.size
        if at + length > len(message):
            raise MessageError("a record is cut off")
        data = _data(message, kind, at, length) if family & _CLASS_BITS == _INTERNET else None
        if data is not None:
            yield Record(name, kind, data)
        at += length


def _data(message: bytes, kind: int, at: int, length: int) -> str | Place | dict[str, str] | None:
    if kind == PTR:
        return _name(message, at)[0]
    if kind == SRV:
        (port,) = struct.unpack_from("!H", message, at + 4)
        return Place(_name(message, at + 6)[0], port)
    if kind == A:
        return socket.inet_ntoa(message[at : at + length])
    if kind == TXT:
        return _texts(message[at : at + length])
    return None


def _texts(data: bytes) -> dict[str, str]:
    """RFC 6763, 6.3: strings with a length before each; a key is taken at its first place."""
    found: dict[str, str] = {}
    while data:
        length, data = data[0], data[1:]
        key, _, value = data[:length].decode("utf-8", "backslashreplace").partition("=")
        found.setdefault(key, value)
        data = data[length:]
    return found


def _written(name: str) -> bytes:
    labels = (label.encode("utf-8") for label in labels_of(name))
    return b"".join(bytes([len(label)]) + label for label in labels) + b"\0"


def labels_of(name: str) -> list[str]:
    """The parts of a name; a dot inside a part is written with a backslash before it (RFC 6763, 4.3)."""
    hidden = name.rstrip(".").replace("\\.", "\0")
    return [label.replace("\0", ".") for label in hidden.split(".")]


def _name(message: bytes, at: int) -> tuple[str, int]:
    """The name at this place, with small letters as they came, and where the next thing begins."""
    labels: list[str] = []
    after, jumps = None, 0
    while length := message[at]:
        if length & _POINTER == _POINTER:
            after = after or at + 2
            at = struct.unpack_from("!H", message, at)[0] & 0x3FFF
            jumps += 1
        else:
            labels.append(message[at + 1 : at + 1 + length].decode("utf-8", "backslashreplace").replace(".", "\\."))
            at += 1 + length
        if jumps > _MOST_POINTERS or sum(map(len, labels)) > _LONGEST_NAME:
            raise MessageError("a name without an end")
    return ".".join(labels), after or at + 1
