"""What an instrument can be asked about itself. A driver file says it; what is asked after a lost link follows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Generic, TypeVar

from benchctl.scpi.errors import parse_error
from benchctl.scpi.numbers import parse_number

_T = TypeVar("_T")

# IEEE 488.2, 11.5.1.1: bit 7 of the standard event status register is power on.
POWER_ON_BIT = 0x80


@dataclass(frozen=True)
class Question(Generic[_T]):
    """What is sent, of which the last message is answered, and how the answer is taken.

    `take` raises a ValueError for an answer that is none.
    """

    messages: tuple[str, ...]
    take: Callable[[str], _T]


def says_power_on(answer: str) -> bool:
    """Whether the standard event status register says that the instrument was switched on (IEEE 488.2 11.4.2: NR1)."""
    value = parse_number(answer)
    if not value.is_integer():
        raise ValueError("no whole number")
    return bool(int(value) & POWER_ON_BIT)


@dataclass(frozen=True)
class Questions:
    """What one instrument can be asked about itself; what it cannot be asked is None.

    Attributes:
        identify: the messages of which the last is answered with who it is; empty: it cannot say.
        power_cycled: whether it was switched off and on since it was asked last.
        errors: the next entry of its error queue, number and text; number 0: there is none.
        names_errors: whether it tells which error; where not, one answer is all that there is to know.
        enables_errors: what makes every kind of error enter the queue; ''.
    """

    identify: tuple[str, ...] = ("*IDN?",)
    power_cycled: Question[bool] | None = field(default=Question(("*ESR?",), says_power_on))
    errors: Question[tuple[int, str]] | None = field(default=Question(("SYST:ERR?",), parse_error))
    names_errors: bool = True
    enables_errors: str = "STAT:PRES"


USUAL_QUESTIONS = Questions()
