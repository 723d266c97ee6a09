"""One part of the safe state, in the commands of its instrument.

Plain data, so that another process, the guardian, can be given it. This module imports almost nothing, so that the
guardian starts at once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

from benchctl.scpi.answer_form import AnswerForm
from benchctl.scpi.errors import FormatError

NO_QUESTION = "its driver file has no question that confirms it"
TOLD_ONLY = "told, and it cannot be asked"


@dataclass(frozen=True)
class Asked:
    """A question, and how its answer is taken.

    Attributes:
        question: the messages to send; the last one is answered.
        form: how the answer is taken.
    """

    question: tuple[str, ...]
    form: AnswerForm = field(default_factory=AnswerForm)


@dataclass(frozen=True)
class OffReading:
    """Shows that an output gives no current, in addition to its answer that it is off.

    Attributes:
        current: what asks for its current.
        zero_a: a current up to this counts as zero; it is the error that the reading may have.
        voltage: how the answer to the same question gives the voltage as well, if it does.
    """

    current: Asked
    zero_a: float
    voltage: AnswerForm | None = None

    @property
    def question(self) -> tuple[str, ...]:
        """The messages to send; the last one is answered."""
        return self.current.question

    def refusal(self, answer: str) -> str:
        """Why the answer contradicts an output that is off, or ''.

        A voltage does not: capacitors or a battery in parallel with the supply may hold it.
        """
        try:
            current_a = self.current.form.number(answer)
            at = "" if self.voltage is None else f" at {self.voltage.number(answer):.3g} V"
        except FormatError:
            return f"it says that it is off, and answers {answer[:60]!r} where its current was asked for"
        if math.isfinite(current_a) and abs(current_a) <= self.zero_a:
            return ""
        return f"it says that it is off, but reads {current_a:.3g} A{at}, where off reads less than {self.zero_a:.2g} A"


@dataclass(frozen=True)
class SafePart:
    """The commands that bring one output into the safe state, and the question that confirms it.

    Attributes:
        instrument: its name in the bench file.
        address: its VISA address.
        what: the part of the safe state, such as "output off".
        commands: the messages that do it, in order.
        question: the messages that ask for confirmation; the last one is answered. Empty: nothing can be asked.
        switches: how many switch states the answer holds.
        reading: a measurement that also confirms it, where the instrument can measure.
        form: how the answer is taken; what it knows as no means off, and nothing else does.
        settle_s: how long the instrument needs quiet after the commands.
        must_confirm: whether it counts as not off as long as nothing confirms it; a load may be told and no more, where
            what drives it confirms that it is off.
    """

    instrument: str
    address: str
    what: str
    commands: tuple[str, ...]
    question: tuple[str, ...]
    switches: int = 1
    reading: OffReading | None = None
    form: AnswerForm = field(default_factory=AnswerForm)
    settle_s: float = 0.0
    must_confirm: bool = True

    def is_confirmed_by(self, answer: str) -> bool:
        """Whether the answer has the right number of switch states and each is known to mean off."""
        return self.form.all_mean_no(answer, self.switches)

    def refusal(self, answer: str) -> str:
        """Why the answer contradicts it, or ''."""
        return "" if self.is_confirmed_by(answer) else f"it answers {answer[:60]!r} to {self.question[-1]}"

    @classmethod
    def from_data(cls, data: dict[str, Any]) -> SafePart:
        """What `dataclasses.asdict` made of one, after its way through JSON."""
        reading = data["reading"]
        return cls(
            **_with_tuples({**data, "form": None, "reading": None})
            | {"form": _form(data["form"]), "reading": None if reading is None else _reading(reading)}
        )


def _reading(data: dict[str, Any]) -> OffReading:
    asked, voltage = data["current"], data["voltage"]
    current = Asked(tuple(asked["question"]), _form(asked["form"]))
    return OffReading(current, data["zero_a"], None if voltage is None else _form(voltage))


def _form(data: dict[str, Any]) -> AnswerForm:
    return AnswerForm(**_with_tuples(data))


def _with_tuples(data: dict[str, Any]) -> dict[str, Any]:
    return {name: tuple(value) if isinstance(value, list) else value for name, value in data.items()}
