"""One part of the safe state, in the words of its instrument.

Plain text, so that it can be handed to another process; and it imports next to nothing, so that the guardian, which is
that process, is up at once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from benchctl.scpi.errors import FormatError
from benchctl.scpi.numbers import parse_numbers


@dataclass(frozen=True)
class OffReading:
    """What shows that an output gives no current, besides its word that it is off.

    Attributes:
        question: the messages that ask for volts and amperes; the last one is answered with both.
        zero_a: amperes up to this are none, within what the reading may be off by.
    """

    question: tuple[str, ...]
    zero_a: float

    def refusal(self, answer: str) -> str:
        """What in the answer speaks against an output that is off, or nothing.

        Volts do not: capacitors hold them, and so does a battery beside the supply.
        """
        try:
            voltage_v, current_a = parse_numbers(answer, 2)
        except FormatError:
            return f"it says that it is off, and answers {answer[:60]!r} where its current was asked for"
        if math.isfinite(current_a) and abs(current_a) <= self.zero_a:
            return ""
        reads = f"{current_a:.3g} A at {voltage_v:.3g} V"
        return f"it says that it is off, but reads {reads}, where off reads less than {self.zero_a:.2g} A"


@dataclass(frozen=True)
class SafePart:
    """What brings one output into the safe state, and what confirms it.

    Attributes:
        instrument: its name in the bench file.
        address: its VISA address.
        what: the part of the safe state, such as "output off".
        commands: the messages that bring it about, in order.
        question: the messages that ask for confirmation; the last one is answered.
        switches: how many switches the answer tells of, separated by commas.
        reading: what confirms it besides, where the instrument can measure.
    """

    instrument: str
    address: str
    what: str
    commands: tuple[str, ...]
    question: tuple[str, ...]
    switches: int = 1
    reading: OffReading | None = None

    def is_confirmed_by(self, answer: str) -> bool:
        """Whether the answer says, of as many switches as were asked about, that each is off."""
        states = answer.split(",")
        return len(states) == self.switches and not any(is_on(state) for state in states)

    def refusal(self, answer: str) -> str:
        """What in the answer speaks against it, or nothing."""
        return "" if self.is_confirmed_by(answer) else f"it answers {answer[:60]!r} to {self.question[-1]}"


def is_on(answer: str) -> bool:
    """Whether an answer to OUTP? and the like means on; SCPI answers 0 or 1, some instruments OFF or ON."""
    return answer.strip().upper() not in {"0", "+0", "OFF"}
