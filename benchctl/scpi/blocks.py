"""Arbitrary blocks of IEEE 488.2 (7.7.6, 8.7.9, 8.7.10): `#`, a digit, that many digits of length, the data."""

from __future__ import annotations

from dataclasses import dataclass

from benchctl.scpi.errors import FormatError

# One digit says how many digits of length follow, so no block is longer.
LONGEST_BLOCK = 999_999_999


class BlockError(FormatError):
    """The bytes are not a block, or not a whole one."""


@dataclass(frozen=True)
class BlockHeader:
    """The head of a block: `size` bytes of it, then `length` bytes of data (None: until the message ends)."""

    size: int
    length: int | None

    @staticmethod
    def missing(prefix: bytes | bytearray) -> int:
        """How many more bytes of head must be read after `prefix`; 0 once the head is whole.

        Ask again after each read: `while count := BlockHeader.missing(head): head += read(count)`.

        Raises:
            BlockError: `prefix` does not begin a block.
        """
        if prefix[:1] not in (b"#", b""):
            raise BlockError(f"a block begins with '#', not with {bytes(prefix[:20])!r}")
        if len(prefix) < 2:
            return 2 - len(prefix)
        digits = prefix[1:2]
        if not digits.isdigit():
            raise BlockError(f"{bytes(prefix[:20])!r} has no digit after '#'")
        _check_digits(prefix[2 : 2 + int(digits)])
        return max(0, 2 + int(digits) - len(prefix))

    @classmethod
    def parse(cls, prefix: bytes | bytearray) -> BlockHeader | None:
        """The head at the start of `prefix`, or None while more bytes are needed. Raises BlockError as `missing`."""
        if cls.missing(prefix):
            return None
        count = int(prefix[1:2])
        if count == 0:
            return cls(size=2, length=None)
        return cls(size=2 + count, length=int(prefix[2 : 2 + count]))


def _check_digits(digits: bytes | bytearray) -> None:
    if digits and not digits.isdigit():
        raise BlockError(f"{bytes(digits)!r} is not a block length")


def encode_block(data: bytes) -> bytes:
    """`data` as a definite-length block, with the fewest length digits.

    Raises:
        BlockError: more than 999 999 999 bytes.
    """
    if len(data) > LONGEST_BLOCK:
        raise BlockError(f"{len(data)} bytes do not fit in one block")
    length = b"%d" % len(data)
    return b"#%d%b%b" % (len(length), length, data)
