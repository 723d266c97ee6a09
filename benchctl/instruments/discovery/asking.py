"""Who answers at an address, and what it answers to questions by which a form of instrument is known.

Questions are all that is sent: nothing is set, and no other program's link is taken over. An instrument that does not
know a question notes an error in its queue; as many entries as there may be are read from the queue afterwards.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from benchctl.address import SocketAddress, parse_address
from benchctl.errors import InstrumentError, LinkError, NoAnswer
from benchctl.instruments.links.opening import open_link
from benchctl.readable import answer_text
from benchctl.scpi.errors import FormatError, parse_error

if TYPE_CHECKING:
    from benchctl.instruments.links.link import Link

Opener = Callable[[str], "Link"]

IDENTIFY = "*IDN?"
NOBODY_KNOWS = "NOSUCHWORD?"
# An instrument may take its time; a screen that is being drawn takes 2 s.
ANSWER_S = 2.0
# One that has answered is awake: it answers what it knows within so many times as long, between these two.
AS_LONG_AS = 4.0
SOONEST_S, SOON_S = 0.15, 0.7
# How long an instrument may need from the end of one link to the next.
FREE_AGAIN_S = 1.0
# Between two bytes of one answer there is no longer silence, at 1200 baud either.
SILENCE_S = 0.1
# A question that is not known is one error, or two: in its words, and in its parameters.
ERRORS_A_QUESTION = 2
# IEEE 488.2, 10.14.3: 72 characters; some are longer.
_LONGEST_SHOWN = 200
_LONGEST_BYTES = 65536
_ENDS = {"LF": b"\n", "CRLF": b"\r\n"}


@dataclass(frozen=True)
class Answered:
    """What came of asking at one address.

    Attributes:
        identity: the answer to `*IDN?`, as it is; None where none came.
        reached: whether a link could be opened.
        problem: in words what went wrong; empty where nothing did.
        answers: further question -> answer, of those that were answered.
        ends: what its messages must end with, where that is not the usual line feed, as a driver file writes it.
    """

    identity: str | None = None
    reached: bool = False
    problem: str = ""
    answers: dict[str, str] = field(default_factory=dict)
    ends: str = ""


def ask(
    address: str, questions: Sequence[str] = (), opener: Opener = open_link, answer_s: float = ANSWER_S
) -> Answered:
    """Ask who is at an address, and if somebody says so, the further questions. Never raises for what an instrument
    does; takes bounded time.

    Args:
        address: a VISA address.
        questions: each is asked once; it must be harmless to every instrument.
        opener: opens the link.
        answer_s: how long the answer to `*IDN?` may take.
    """
    is_stream = isinstance(parse_address(address), SocketAddress)
    try:
        talk = _Talk(lambda: opener(address), keeps_link=is_stream)
    except InstrumentError as error:
        return Answered(problem=error.message)
    with talk:
        try:
            return _met(talk, questions, answer_s, is_stream=is_stream)
        except NoAnswer:
            return Answered(reached=True)
        except InstrumentError as error:
            return Answered(reached=True, problem=error.message)


def _met(talk: _Talk, questions: Sequence[str], answer_s: float, *, is_stream: bool) -> Answered:
    """A line feed ends a message nearly everywhere; who does not answer to that is asked with a carriage return too."""
    sent, began = "LF", time.monotonic()
    try:
        heard = talk.ask(IDENTIFY, sent, answer_s)
    except NoAnswer:
        sent = "CRLF"
        heard = talk.ask(IDENTIFY, sent, answer_s)
    talk.soon_s = min(max(AS_LONG_AS * (time.monotonic() - began), SOONEST_S), SOON_S)
    identity, ends = _shown(heard), _ends_in_words(sent, heard)
    if ends or not identity or not questions:
        return Answered(identity, reached=True, ends=ends)
    return Answered(identity, reached=True, answers=_answers(talk, questions, identity, is_stream=is_stream))


def _shown(line: bytes) -> str:
    return answer_text(line)[:_LONGEST_SHOWN]


def _ends_in_words(sent: str, heard: bytes) -> str:
    """How a driver file says this, where it is not the usual end."""
    received = "LF" if heard.endswith(b"\n") else "CR" if heard.endswith(b"\r") else "none"
    if sent == "LF" and received == "LF":
        return ""
    return "ends: CR" if received == "CR" else f"ends: {{send: {sent}, receive: {received}}}"


def _answers(talk: _Talk, questions: Sequence[str], identity: str, *, is_stream: bool) -> dict[str, str]:
    """The questions that are answered; the errors of the others are taken out of the queue again.

    Some instruments answer whatever they do not know with one text, such as `ERR`: so one question is asked that none
    knows.
    """
    found: dict[str, str] = {}
    with suppress(InstrumentError):  # who it is, is known all the same
        for question in (NOBODY_KNOWS, *questions):
            answer = talk.ask_or_identify(question, identity) if is_stream else talk.ask_or_none(question)
            if answer is not None:
                found[question] = answer
        _take_errors(talk, ERRORS_A_QUESTION * (1 + len(questions) - len(found)))
    unknown = found.pop(NOBODY_KNOWS, None)
    return {question: answer for question, answer in found.items() if answer != unknown}


def _take_errors(talk: _Talk, most: int) -> None:
    with suppress(NoAnswer, FormatError):
        for _ in range(most):
            code, _ = parse_error(_shown(talk.ask("SYST:ERR?", "LF", SOON_S)))
            if code == 0:
                return


class _Talk:
    """Questions and answers, line by line. Closed at the end of its block.

    Args:
        opener: opens the link.
        keeps_link: whether it is kept after a question that was not answered. On a link of messages the answer may
            still come, to the next question, so another is opened.

    Attributes:
        soon_s: how long a question may take that is no longer the first.
    """

    def __init__(self, opener: Callable[[], Link], *, keeps_link: bool) -> None:
        self._opener = opener
        self._keeps_link = keeps_link
        self._link = opener()
        self._waiting = b""
        self.soon_s = SOON_S

    def __enter__(self) -> _Talk:
        return self

    def __exit__(self, *_error: object) -> None:
        with suppress(LinkError):
            self._link.close()

    def ask(self, question: str, end: str, within_s: float) -> bytes:
        """The answer to a question, with its end.

        Raises:
            NoAnswer: none has come in time.
        """
        self._link.send(question.encode("ascii") + _ENDS[end])
        return self._line(within_s)

    def ask_or_none(self, question: str) -> str | None:
        """The answer; None where there is none."""
        try:
            return _shown(self.ask(question, "LF", self.soon_s))
        except NoAnswer:
            self._open_another()
            return None

    def ask_or_identify(self, question: str, identity: str) -> str | None:
        """The answer; None where there is none.

        Where bytes simply follow each other, who it is can be asked behind the question: if that answer comes first,
        none has come to the question, and nobody need wait for it.
        """
        self._link.send(question.encode("ascii") + b"\n" + IDENTIFY.encode("ascii") + b"\n")
        try:
            first = _shown(self._line(SOON_S))
        except NoAnswer:
            return None
        if first == identity:
            return None
        with suppress(NoAnswer):
            self._line(SOON_S)
        return first

    def _open_another(self) -> None:
        """One link at a time: many an instrument is free again only a while after the last has gone."""
        if self._keeps_link:
            return
        with suppress(LinkError):
            self._link.close()
        self._waiting = b""
        try:
            self._link = self._opener()
        except InstrumentError:
            time.sleep(FREE_AGAIN_S)
            self._link = self._opener()

    def _line(self, within_s: float) -> bytes:
        """The next line, or what has come before silence.

        Raises:
            NoAnswer: nothing has come in time.
        """
        if not self._waiting:
            self._waiting = self._link.receive(time.monotonic() + within_s, _go_on)
        with suppress(NoAnswer):
            while b"\n" not in self._waiting and len(self._waiting) < _LONGEST_BYTES:
                self._waiting += self._link.receive(time.monotonic() + SILENCE_S, _go_on)
        line, end, self._waiting = self._waiting.partition(b"\n")
        return line + end


def _go_on() -> None:
    """Nothing interrupts a question that has its end."""
