"""Cuts what arrives from an instrument into lines and blocks; the pieces that arrive may have any size.

Both are bounded: an instrument that never ends a line must not fill the memory. What comes besides answers, an echo of
what was sent and acknowledgements, is taken out and checked here.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from benchctl.errors import GarbledAnswer, NoAnswer, NotAcknowledged, quote
from benchctl.instruments.links.settings import USUAL, LinkSettings
from benchctl.readable import answer_text
from benchctl.scpi.blocks import BlockHeader

Gate = Callable[[], None]
# Waits for at least one byte until a deadline on time.monotonic(); the gate may raise meanwhile.
Receive = Callable[[float, Gate], bytes]

# Longest answer that is a line; waveforms come as blocks.
LINE_BYTES = 65536
# Text before a block, such as `C1:WF DAT2,`, is shorter.
LONGEST_TEXT = 64
# Longest block: 64 MiB is more than any oscilloscope record asked for here.
BLOCK_BYTES = 64 * 1024 * 1024
# The longest header of a block: `#`, a digit, and nine digits of length (IEEE 488.2, 7.7.6).
_HEADER_BYTES = 11
# Of an answer that has no end: between two of its bytes there is no longer silence (ten characters at 9600 baud).
SHORTEST_SILENCE_S = 0.01


@dataclass(frozen=True)
class _Echo:
    """What was sent, which comes back."""

    data: bytes


@dataclass(frozen=True)
class _Acknowledgement:
    """A line that says that a message was taken note of."""

    text: str
    of: str


class Arrivals:
    """The bytes of one link that were not read yet.

    Args:
        receive: gives the bytes that have come.
        settings: how messages end, and what comes besides answers.
    """

    def __init__(self, receive: Receive, settings: LinkSettings = USUAL) -> None:
        self._receive = receive
        self._settings = settings
        self._end = settings.ends.received
        self._waiting = bytearray()
        self._expected: deque[_Echo | _Acknowledgement] = deque()

    def __bool__(self) -> bool:
        """Whether there are any bytes."""
        return bool(self._waiting)

    @property
    def expects(self) -> bool:
        """Whether something comes, or has come, that is no answer."""
        return bool(self._expected)

    def begin(self, *, marks_ends: bool) -> None:
        """There is a new link; one that marks the ends of messages itself gives each with a line feed."""
        self.clear()
        self._end = b"\n" if marks_ends else self._settings.ends.received

    def clear(self) -> None:
        """Throw them away, and expect nothing."""
        self._waiting.clear()
        self._expected.clear()

    def sent(self, data: bytes, *, is_question: bool) -> None:
        """A message was sent: from now on its echo is expected, and what acknowledges it."""
        if self._settings.echo:
            self._expected.append(_Echo(data))
        if not is_question and self._settings.acknowledge.commands:
            self._expected.append(_Acknowledgement(self._settings.acknowledge.commands, answer_text(data)))

    def answered(self, question: str) -> None:
        """A question was answered: what stands behind the answer is expected."""
        if self._settings.acknowledge.questions:
            self._expected.append(_Acknowledgement(self._settings.acknowledge.questions, question))

    def attend(self, deadline: float, gate: Gate) -> None:
        """Read and check all that is expected.

        Raises:
            NotAcknowledged: the instrument says something else to a message.
            GarbledAnswer: the echo is not what was sent.
            LinkError: it does not come, or the link fails.
        """
        while self._expected:
            expected = self._expected[0]
            if isinstance(expected, _Echo):
                self._read_echo(expected, deadline, gate)
            else:
                self._read_acknowledgement(expected, deadline, gate)

    def await_more(self, deadline: float, gate: Gate) -> None:
        """Wait until anything comes that was not read yet; raises NoAnswer where nothing does."""
        self._add(deadline, gate)

    def line(self, deadline: float, gate: Gate) -> bytes:
        """The next line that is an answer, with its end.

        Raises:
            GarbledAnswer: it has no end, or the echo is wrong.
            NotAcknowledged: a message before was not acknowledged.
            LinkError: it does not come, or the link fails.
        """
        self.attend(deadline, gate)
        return self._line(deadline, gate)

    def block(self, deadline: float, gate: Gate, *, headed: bool = False) -> bytes:
        """The data of the next definite-length block; the end of its message is not read. If `headed`, text before it
        is thrown away.

        Raises:
            GarbledAnswer: something else has arrived.
            LinkError: it does not come, or the link fails.
        """
        self.attend(deadline, gate)
        if headed:
            self._skip_text(deadline, gate)
        while (header := self._block_header()) is None:
            self._waiting += self._receive(deadline, gate)
        if header.length is None or header.length > BLOCK_BYTES:
            raise GarbledAnswer("answers a block without a length, or one too long to be meant")
        self._take(header.size)
        return self._data_of(header.length, deadline, gate)

    def _data_of(self, length: int, deadline: float, gate: Gate) -> bytes:
        """So many bytes. A record is long, so its pieces are put together once, and not one by one."""
        pieces = [self._take(min(length, len(self._waiting)))]
        missing = length - len(pieces[0])
        while missing > 0:
            piece = self._receive(deadline, gate)
            if len(piece) > missing:
                self._waiting += piece[missing:]
                piece = piece[:missing]
            pieces.append(piece)
            missing -= len(piece)
        return b"".join(pieces)

    def _skip_text(self, deadline: float, gate: Gate) -> None:
        while (start := self._waiting.find(b"#")) < 0:
            if len(self._waiting) > LONGEST_TEXT or b"\n" in self._waiting:
                raise GarbledAnswer(f"answers {bytes(self._waiting[:40])!r} where a block was asked for")
            self._waiting += self._receive(deadline, gate)
        del self._waiting[:start]

    def end_of_block(self, deadline: float, gate: Gate) -> bytes:
        """What ends the message that a block was; nothing on a link where nothing ends messages."""
        return self._line(deadline, gate) if self._end else b""

    def _line(self, deadline: float, gate: Gate) -> bytes:
        if not self._end:
            return self._until_silence(deadline, gate)
        while (end := self._waiting.find(self._end)) < 0:
            self._add(deadline, gate)
        return self._take(end + len(self._end))

    def _until_silence(self, deadline: float, gate: Gate) -> bytes:
        """An answer that has no end is over when nothing follows it for a pause."""
        silence_s = max(self._settings.pause_s, SHORTEST_SILENCE_S)
        if not self._waiting:
            self._add(deadline, gate)
        try:
            while True:
                self._add(min(deadline, time.monotonic() + silence_s), gate)
        except NoAnswer:
            return self._take(len(self._waiting))

    def _add(self, deadline: float, gate: Gate) -> None:
        if len(self._waiting) > LINE_BYTES:
            raise GarbledAnswer(f"answers more than {LINE_BYTES} bytes without an end of line")
        self._waiting += self._receive(deadline, gate)

    def _read_echo(self, echo: _Echo, deadline: float, gate: Gate) -> None:
        while len(self._waiting) < len(echo.data):
            self._add(deadline, gate)
        self._expected.popleft()
        found = self._take(len(echo.data))
        if found != echo.data:
            raise GarbledAnswer(
                f"sends back {quote(answer_text(found))} where {quote(answer_text(echo.data))} was sent"
            )

    def _read_acknowledgement(self, expected: _Acknowledgement, deadline: float, gate: Gate) -> None:
        found = answer_text(self._line(deadline, gate))
        self._expected.popleft()
        if found != expected.text:
            raise NotAcknowledged(
                f"answers {quote(found)} to {expected.of}, which it acknowledges with {quote(expected.text)}"
            )

    def _block_header(self) -> BlockHeader | None:
        try:
            return BlockHeader.parse(bytes(self._waiting[:_HEADER_BYTES]))
        except ValueError as error:
            raise GarbledAnswer(f"answers {bytes(self._waiting[:40])!r} where a block was asked for") from error

    def _take(self, count: int) -> bytes:
        data = bytes(self._waiting[:count])
        del self._waiting[:count]
        return data
