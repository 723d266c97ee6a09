"""Cuts what arrives from an instrument into lines and blocks; the pieces that arrive may have any size.

Both are bounded: an instrument that never ends a line must not fill the memory.
"""

from __future__ import annotations

from collections.abc import Callable

from benchctl.errors import GarbledAnswer
from benchctl.scpi.blocks import BlockHeader

Gate = Callable[[], None]
# Waits for at least one byte until a deadline on time.monotonic(); the gate may raise meanwhile.
Receive = Callable[[float, Gate], bytes]

# Longest answer that is a line; waveforms come as blocks.
LINE_BYTES = 65536
# Longest block: 64 MiB is more than any oscilloscope record asked for here.
BLOCK_BYTES = 64 * 1024 * 1024
# The longest header of a block: `#`, a digit, and nine digits of length (IEEE 488.2, 7.7.6).
_HEADER_BYTES = 11


class Arrivals:
    """The bytes of one link that were not read yet."""

    def __init__(self, receive: Receive) -> None:
        self._receive = receive
        self._waiting = bytearray()

    def __bool__(self) -> bool:
        """Whether there are any bytes."""
        return bool(self._waiting)

    def clear(self) -> None:
        """Throw them away."""
        self._waiting.clear()

    def line(self, deadline: float, gate: Gate) -> bytes:
        """The next line, with its end.

        Raises:
            GarbledAnswer: it has no end.
            LinkError: it does not come, or the link fails.
        """
        while (end := self._waiting.find(b"\n")) < 0:
            if len(self._waiting) > LINE_BYTES:
                raise GarbledAnswer(f"answers more than {LINE_BYTES} bytes without an end of line")
            self._waiting += self._receive(deadline, gate)
        return self._take(end + 1)

    def block(self, deadline: float, gate: Gate) -> bytes:
        """The data of the next definite-length block; the end of its message is not read.

        Raises:
            GarbledAnswer: something else has arrived.
            LinkError: it does not come, or the link fails.
        """
        while (header := self._block_header()) is None:
            self._waiting += self._receive(deadline, gate)
        if header.length is None or header.length > BLOCK_BYTES:
            raise GarbledAnswer("answers a block without a length, or one too long to be meant")
        whole = header.size + header.length
        while len(self._waiting) < whole:
            self._waiting += self._receive(deadline, gate)
        return self._take(whole)[header.size :]

    def _block_header(self) -> BlockHeader | None:
        try:
            return BlockHeader.parse(bytes(self._waiting[:_HEADER_BYTES]))
        except ValueError as error:
            raise GarbledAnswer(f"answers {bytes(self._waiting[:40])!r} where a block was asked for") from error

    def _take(self, count: int) -> bytes:
        data = bytes(self._waiting[:count])
        del self._waiting[:count]
        return data
