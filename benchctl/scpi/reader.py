"""Cuts a stream of bytes into messages; the pieces that arrive may have any size.

One class for both sides: program messages on their way to a device, response messages on their way back. A message
ends at a line feed; a carriage return before it is white space. A line feed inside a block is data.

A line feed inside a quoted string also ends the message, unless the link has another way to mark the end:
a raw socket has none, and after a lost quotation mark every later message would be lost, `OUTP OFF` included.
"""

from __future__ import annotations

import re
from collections import deque

from benchctl.scpi.blocks import BlockError, BlockHeader
from benchctl.scpi.errors import FormatError

# The longest program message worth taking: half a million points of an arbitrary waveform, two bytes each.
PROGRAM_MESSAGE_BOUND = 1 << 20

_NEWLINE = b"\n"
_SPECIAL = re.compile(rb"[\n\"'#]")
# A block stands where a parameter or an answer begins, so `SN#12` in an identity is not a block.
_BEFORE_ELEMENT = frozenset(b",;") | frozenset(range(33))


class OverlongMessageError(FormatError):
    """A message went over the bound and was dropped; reading goes on behind the next line feed."""


class MessageReader:
    """Feed it bytes, ask it for messages; never holds more than the bound and the last feed.

    Args:
        bound: longest message in bytes, its end not counted.
        newline_in_strings: a line feed between quotation marks belongs to the string. Only for links that mark the
            end of a message themselves, where `end` is called.
    """

    def __init__(self, bound: int = PROGRAM_MESSAGE_BOUND, *, newline_in_strings: bool = False) -> None:
        self._bound = bound
        self._newline_in_strings = newline_in_strings
        self._buffer = bytearray()
        self._ends: deque[int] = deque()  # where the link said that a message ends, in order
        self._discarding = False
        self._start_message()

    def __len__(self) -> int:
        """How many bytes wait: unread messages and the beginning of the next."""
        return len(self._buffer)

    def feed(self, data: bytes) -> None:
        """Take what came over the link, in pieces of any size."""
        self._buffer += data

    def end(self) -> None:
        """The link says that the message ends with what was fed so far."""
        if self._buffer and not (self._ends and self._ends[-1] == len(self._buffer)):
            self._ends.append(len(self._buffer))

    def clear(self) -> None:
        """Forget everything, as a device clear asks."""
        self._buffer.clear()
        self._ends.clear()
        self._discarding = False
        self._start_message()

    def overrun(self) -> None:
        """Drop what waits because there is no room; the rest of a message cut by this is not taken for a new one."""
        is_cut = bool(self._buffer) and not self._buffer.endswith(_NEWLINE) and len(self._buffer) not in self._ends
        is_cut = is_cut or (self._discarding and not self._buffer)
        self.clear()
        self._discarding = is_cut

    def next_message(self) -> bytes | None:
        """The next whole message without its end, or None while more bytes are needed.

        Raises:
            OverlongMessageError: once for each message that went over the bound.
        """
        if not self._buffer or (self._discarding and not self._discard()):
            return None
        end = self._find_end()
        if end is None and self._ends:
            end = self._ends[0]
        if end is not None and end <= self._bound:
            return self._take(end)
        if len(self._buffer) > self._bound:
            self._drop(self._bound)
        return None

    def _start_message(self) -> None:
        self._position = 0  # everything before it has been looked at
        self._plain_from = 0  # behind the last block: from here on a carriage return is white space
        self._quote = 0  # the quotation mark that a string is waiting for, or 0
        self._indefinite = False

    @property
    def _limit(self) -> int:
        """How far this message can reach in what has come."""
        return self._ends[0] if self._ends else len(self._buffer)

    def _remove(self, count: int) -> None:
        del self._buffer[:count]
        self._ends = deque(end - count for end in self._ends if end > count)

    def _take(self, end: int) -> bytes:
        message = bytes(self._buffer[:end])
        if self._plain_from < end:
            message = message[: self._plain_from] + message[self._plain_from :].rstrip(b"\r")
        self._remove(end + 1 if self._buffer[end : end + 1] == _NEWLINE and end not in self._ends else end)
        self._start_message()
        return message

    def _drop(self, count: int) -> None:
        self._remove(count)
        self._start_message()
        self._discarding = True
        raise OverlongMessageError(f"a message is longer than {self._bound} bytes")

    def _discard(self) -> bool:
        """Drop the rest of a message that was too long; True when its end has been found."""
        newline = self._buffer.find(_NEWLINE, 0, self._limit)
        self._discarding = newline < 0 and not self._ends
        self._remove(self._limit if newline < 0 else newline + 1)
        return not self._discarding

    def _find_end(self) -> int | None:
        """Where the message ends; what has been looked at once is not looked at again."""
        while True:
            if self._indefinite:
                return self._next_newline()
            if self._quote and not self._leave_string():
                return None
            found = _SPECIAL.search(self._buffer, self._position, self._limit)
            if found is None:
                self._position = self._limit
                return None
            at = found.start()
            if found.group() == _NEWLINE:
                return at
            if found.group() != b"#":
                self._quote, self._position = self._buffer[at], at + 1
            elif not self._pass_block(at):
                return None

    def _next_newline(self) -> int | None:
        end = self._buffer.find(_NEWLINE, self._position, self._limit)
        if end >= 0:
            return end
        self._position = self._limit
        return None

    def _leave_string(self) -> bool:
        """Go on behind the closing quotation mark (or stop before the line feed); False while it has not come."""
        close = self._buffer.find(self._quote, self._position, self._limit)
        if not self._newline_in_strings:
            newline = self._buffer.find(_NEWLINE, self._position, self._limit if close < 0 else close)
            if newline >= 0:
                self._quote, self._position = 0, newline
                return True
        if close < 0:
            self._position = self._limit
            return False
        self._quote, self._position = 0, close + 1
        return True

    def _pass_block(self, at: int) -> bool:
        """Go on behind the block at `at`, or behind its `#` if it is no block; False while it is not whole."""
        self._position = at
        if at and self._buffer[at - 1] not in _BEFORE_ELEMENT:
            self._position = at + 1
            return True
        try:
            header = BlockHeader.parse(self._buffer[at : min(at + 11, self._limit)])
        except BlockError:
            self._position = at + 1
            return True
        if header is None:
            return False
        return self._enter_block(at, header)

    def _enter_block(self, at: int, header: BlockHeader) -> bool:
        start = at + header.size
        if header.length is None:
            self._indefinite, self._position = True, start
            return True
        end = start + header.length
        if end > self._bound:
            self._drop(min(start, self._bound))  # a wrong length must not make the link wait for gigabytes
        if self._limit < end:
            return False
        self._position = self._plain_from = end
        return True
