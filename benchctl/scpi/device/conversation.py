"""One client's link to a device: its own input buffer, output queue and place in line.

The rules are those of message exchange in IEEE 488.2 (chapter 6). On a raw socket a reply is sent as soon as it is
made, so a client may send several messages at once and is answered in order (`interruptible=False`). On a link where
the client says whether it got its reply, a client that does not wait breaks the exchange: query INTERRUPTED.
"""

from __future__ import annotations

from benchctl.scpi.device.speaker import Reply, Speaker
from benchctl.scpi.reader import PROGRAM_MESSAGE_BOUND, MessageReader, OverlongMessageError

# Replies may pile up to this while the client reads nothing; one more reply of any length fits on top.
OUTPUT_BOUND = 1 << 16


class Conversation:
    """Feed it what the client sends, send the client what `collect` gives.

    Args:
        input_bound: longest program message, and the most that is kept while the device is busy or the output is full.
        output_bound: with as much output waiting, the device stops taking messages until it is collected.
        interruptible: a message that comes before the last reply was collected interrupts it (-410). Such a link marks
            ends of messages itself, so strings may hold line feeds there.

    Attributes:
        is_over: False; only the client ends a raw link.
        interruptions: how often a reply was dropped because the client did not wait for it.
    """

    is_over = False

    def __init__(
        self,
        device: Speaker,
        *,
        input_bound: int = PROGRAM_MESSAGE_BOUND,
        output_bound: int = OUTPUT_BOUND,
        interruptible: bool = False,
    ) -> None:
        self.device = device
        self._reader = MessageReader(input_bound, newline_in_strings=interruptible)
        self._input_bound = input_bound
        self._output_bound = output_bound
        self._interruptible = interruptible
        self._output = bytearray()
        self._execution: Reply | None = None
        self.interruptions = 0

    @property
    def is_waiting(self) -> bool:
        """Whether a message waits for a pending operation: call `resume` now and then."""
        return self._execution is not None

    @property
    def wants_input(self) -> bool:
        """False while no more should be read from the link, because enough waits already."""
        return len(self._reader) <= self._input_bound

    @property
    def has_output(self) -> bool:
        """Whether a reply waits to be collected (the message available bit of this client)."""
        return bool(self._output)

    def receive(self, data: bytes, *, end: bool = False) -> None:
        """Take bytes and run the messages that are now whole; `end`: the link marks the end of a message.

        Bytes that come although `wants_input` is False are lost: -363.
        """
        if self._interruptible and self._output and data:
            self.interrupt()
        if not self.wants_input:
            self._reader.overrun()
            self.device.report(-363)
        self._reader.feed(data)
        if end:
            self._reader.end()
        self._advance()

    def resume(self) -> bool:
        """Try to go on after a pending operation; True when nothing waits any more."""
        self._advance()
        return self._execution is None

    def collect(self) -> bytes:
        """Everything there is to send, which leaves the output queue empty."""
        output = bytes(self._output)
        self._output.clear()
        if output:
            self._advance()
        return output

    def interrupt(self) -> None:
        """The client did not wait for its reply: drop the reply and report -410 (IEEE 488.2 6.3.2.3)."""
        self._output.clear()
        self.interruptions += 1
        self.device.report(-410)

    def clear(self) -> None:
        """Device clear: drop the input, the output and what waits; settings and status stay (488.2 5.8)."""
        self._reader.clear()
        self._output.clear()
        self._execution = None
        self.device.forget_completion()

    def close(self) -> None:
        """The link is gone. The instrument is shared, so its settings stay and what was begun goes on."""

    def _advance(self) -> None:
        """Run message after message until one waits, the output is full or the input is empty."""
        while self._finish_message() and self._make_room():
            message = self._next_message()
            if message is None:
                return
            self._execution = self.device.begin(message)

    def _finish_message(self) -> bool:
        """Put the reply of the message under way into the output queue; False while it has to wait."""
        execution = self._execution
        if execution is None:
            return True
        if not execution.is_finished and not execution.resume():
            return False
        self._execution = None
        if execution.response is not None:
            self._output += execution.response
            if self._interruptible and len(self._reader):
                self.interrupt()
        return True

    def _make_room(self) -> bool:
        """Whether the output queue takes another reply; if the input is full too, the queue is emptied first."""
        if len(self._output) < self._output_bound:
            return True
        if self.wants_input:
            return False
        self._output.clear()
        self.device.report(-430)  # IEEE 488.2 6.3.1.7: otherwise neither side could go on
        return True

    def _next_message(self) -> bytes | None:
        while True:
            try:
                return self._reader.next_message()
            except OverlongMessageError:
                self.device.report(-363)
