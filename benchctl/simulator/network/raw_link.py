"""What is peculiar to an instrument's raw links: how messages end on them, echo, and how many there may be at once."""

from __future__ import annotations

from collections.abc import Callable

from benchctl.documents.bench_file.simulated_instruments import InstrumentSimulation
from benchctl.scpi.device.conversation import Conversation
from benchctl.simulator.network.dialogue import Dialogue

_ENDS = {"LF": b"\n", "CR": b"\r", "CRLF": b"\r\n", "none": b""}
# A line that has no end by then is noise.
_LONGEST_LINE = 1 << 16


class FramedDialogue:
    """A conversation whose messages end in another way than with a line feed, or over a link that echoes.

    Args:
        conversation: with the instrument; its messages end with a line feed.
        end: what ends messages in both directions; nothing: a message is what comes in one piece.
        echoes: whether each byte is sent back.
    """

    is_over = False

    def __init__(self, conversation: Conversation, end: bytes, *, echoes: bool) -> None:
        self._conversation = conversation
        self._end = end
        self._echoes = echoes
        self._waiting = b""
        self._output = bytearray()

    @property
    def is_waiting(self) -> bool:
        """Whether something waits for time to pass."""
        return self._conversation.is_waiting

    @property
    def wants_input(self) -> bool:
        """False while no more should be read from the link."""
        return self._conversation.wants_input

    def receive(self, data: bytes) -> None:
        """Take bytes from the client and act on the messages that are whole."""
        if self._echoes:
            self._output += data
        *messages, self._waiting = self._cut(data)
        for message in messages:
            self._conversation.receive(message + b"\n")
            self._output += self._answer()

    def resume(self) -> None:
        """Go on with what waited, if it may."""
        self._conversation.resume()

    def collect(self) -> bytes:
        """Everything there is to send."""
        self._output += self._answer()
        output = bytes(self._output)
        self._output.clear()
        return output

    def close(self) -> None:
        """The link is gone."""
        self._conversation.close()

    def _cut(self, data: bytes) -> list[bytes]:
        """The whole messages, and last what has no end yet."""
        if not self._end:
            return [data, b""]
        return (self._waiting + data)[-_LONGEST_LINE:].split(self._end)

    def _answer(self) -> bytes:
        """What the instrument answers now, with the end that its messages have."""
        answer = self._conversation.collect()
        return answer[:-1] + self._end if answer.endswith(b"\n") else answer


class Door:
    """How many raw links an instrument takes, and how soon after the end of the last one the next: at once, where time
    stands still while a client waits."""

    def __init__(
        self, simulated: InstrumentSimulation, now: Callable[[], float], *, is_free_at_once: bool = False
    ) -> None:
        self._takes_one = simulated.clients == "one"
        self._free_again_after_s = 0.0 if is_free_at_once else simulated.free_again_after_s
        self._now = now
        self._is_taken = False
        self._free_s = 0.0

    def enter(self) -> bool:
        """Whether another link is taken."""
        if self._takes_one and (self._is_taken or self._now() < self._free_s):
            return False
        self._is_taken = True
        return True

    def leave(self) -> None:
        """A link that was taken has ended."""
        self._is_taken = False
        self._free_s = self._now() + self._free_again_after_s


ALWAYS_OPEN = Door(InstrumentSimulation(), lambda: 0.0)


class RawLink:
    """The raw links of one instrument."""

    def __init__(
        self, simulated: InstrumentSimulation, now: Callable[[], float], *, is_free_at_once: bool = False
    ) -> None:
        self._simulated = simulated
        self.door = Door(simulated, now, is_free_at_once=is_free_at_once)

    def open(self, converse: Callable[[], Conversation]) -> Dialogue:
        """A client's conversation, as it goes over such a link."""
        simulated = self._simulated
        if simulated.ends == "LF" and simulated.echo == "no":
            return converse()
        return FramedDialogue(converse(), _ENDS[simulated.ends], echoes=simulated.echo == "yes")
