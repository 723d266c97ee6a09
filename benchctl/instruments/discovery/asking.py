"""Who answers at an address. `*IDN?` is all that is sent: nothing is set, and no other program's link is taken over."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchctl.errors import InstrumentError, LinkError, NoAnswer
from benchctl.instruments.links.arrivals import Arrivals
from benchctl.instruments.links.opening import open_link
from benchctl.readable import answer_text

if TYPE_CHECKING:
    from benchctl.instruments.links.link import Link

Opener = Callable[[str], "Link"]

# An instrument may take its time; a screen that is being drawn takes 2 s.
ANSWER_S = 2.0
# IEEE 488.2, 10.14.3: 72 characters; some are longer.
_LONGEST_SHOWN = 200


@dataclass(frozen=True)
class Answered:
    """What came of asking at one address.

    Attributes:
        identity: the answer to `*IDN?`, as it is; None where none came.
        reached: whether a link could be opened.
        problem: in words what went wrong; empty where nothing did.
    """

    identity: str | None = None
    reached: bool = False
    problem: str = ""


def ask(address: str, opener: Opener = open_link, answer_s: float = ANSWER_S) -> Answered:
    """Ask who is at an address. Never raises for what an instrument does; takes bounded time.

    Args:
        address: a VISA address.
        opener: opens the link.
        answer_s: how long the answer may take.
    """
    try:
        link = opener(address)
    except InstrumentError as error:
        return Answered(problem=error.message)
    with _closed_after(link):
        try:
            return Answered(_answer(link, "*IDN?", answer_s), reached=True)
        except NoAnswer:
            return Answered(reached=True)
        except InstrumentError as error:
            return Answered(reached=True, problem=error.message)


@contextmanager
def _closed_after(link: Link) -> Iterator[None]:
    try:
        yield
    finally:
        with suppress(LinkError):
            link.close()


def _answer(link: Link, question: str, within_s: float) -> str:
    link.send(question.encode("ascii") + b"\n")
    line = Arrivals(link.receive).line(time.monotonic() + within_s, _go_on)
    return answer_text(line)[:_LONGEST_SHOWN]


def _go_on() -> None:
    """Nothing interrupts a question that has its end."""
