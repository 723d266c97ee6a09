"""One part of the safe state, in the commands of its instrument.

Plain text, so that another process, the guardian, can be given it. This module imports almost nothing, so that the
guardian starts at once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from benchctl.scpi.errors import FormatError
from benchctl.scpi.numbers import parse_numbers


@dataclass(frozen=True)
class OffReading:
    """Shows that an output gives no current, in addition to its answer that it is off.

    Attributes:
        question: the messages that ask for volts and amperes; the last one is answered with both.
        zero_a: a current up to this counts as zero; it is the error that the reading may have.
    """

    question: tuple[str, ...]
    zero_a: float

    def refusal(self, answer: str) -> str:
        """Why the answer contradicts an output that is off, or ''.

        A voltage does not: capacitors or a battery in parallel with the supply may hold it.
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
    """The commands that bring one output into the safe state, and the question that confirms it.

    Attributes:
        instrument: its name in the bench file.
        address: its VISA address.
        what: the part of the safe state, such as "output off".
        commands: the messages that do it, in order.
        question: the messages that ask for confirmation; the last one is answered.
        switches: how many switch states the answer holds, separated by commas.
        reading: a measurement that also confirms it, where the instrument can measure.
    """

    instrument: str
    address: str
    what: str
    commands: tuple[str, ...]
    question: tuple[str, ...]
    switches: int = 1
    reading: OffReading | None = None

    def is_confirmed_by(self, answer: str) -> bool:
        """Whether the answer has the right number of switch states and each is off."""
        states = answer.split(",")
        return len(states) == self.switches and not any(is_on(state) for state in states)

    def refusal(self, answer: str) -> str:
        """Why the answer contradicts it, or ''."""
        return "" if self.is_confirmed_by(answer) else f"it answers {answer[:60]!r} to {self.question[-1]}"


def is_on(answer: str) -> bool:
    """Whether an answer to OUTP? and the like means on; SCPI answers 0 or 1, some instruments OFF or ON."""
    return answer.strip().upper() not in {"0", "+0", "OFF"}
