"""The link to one instrument as it stands: opened, the instrument met, in step with its answers, or dropped.

Two locks belong to a conversation, of which the one here, `_wire`, is held around one write only, together with a check
of the interlock; so the safe state may write while another thread waits for an answer, and no command of the run can be
written after it. The other one is the session's.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, TypeVar

from benchctl.errors import ConnectionLost, GarbledAnswer, InstrumentError, LinkError, NoAnswer
from benchctl.instruments.links.arrivals import Arrivals, Gate
from benchctl.instruments.links.opening import Opener
from benchctl.instruments.links.questions import Questions
from benchctl.instruments.links.settings import LinkSettings
from benchctl.readable import answer_text

if TYPE_CHECKING:
    from benchctl.instruments.links.link import Link

_T = TypeVar("_T")
_traffic = logging.getLogger("benchctl.traffic")

# One or two late answers may come before the one that says who is there; more means that the instrument does not work.
STALE_LINES = 8
# IEEE 488.2, 10.14.3: four fields, at most 72 characters; not every instrument keeps to that.
IDENTITY_COMMAS = 3
LONGEST_IDENTITY = 200
# After a first answer that is no usual identity: a better one may follow within this time.
BETTER_S = 0.1
# Of a message that holds a block.
LONGEST_SHOWN = 40


class WithBlock(str):
    """A message that may hold a block, with a character for each byte of it."""

    def __str__(self) -> str:
        """Its beginning, for people."""
        return repr(str.__str__(self)[:LONGEST_SHOWN])


def _encoded(text: str) -> bytes:
    if isinstance(text, WithBlock):
        return text.encode("latin-1")
    if not text.isprintable():
        raise ValueError(f"a message is one line of plain text, not {text!r}")
    return text.encode("ascii")


class Connection:
    """One instrument's link. The caller holds the session's lock, but for `write` and `open_link` in a hurry.

    Args:
        name: the instrument's name in the bench file, for the log of the traffic.
        address: its VISA address.
        opener: opens a link.
        settings: how the link behaves.
        questions: what the instrument can be asked about itself.
        timeout_s: how long an answer may take.

    Attributes:
        identity: what it has answered to who it is.
        is_dirty: whether an answer may still come that nobody waits for.
        has_restarted: whether it is known to have been switched off and on since it was first met.
        is_doubtful: whether the link was lost and the instrument cannot tell whether it has kept its settings.
        last_sent_s: when the last message was sent, on time.monotonic().
        sent, answered: the numbers of the last message sent, and of the last question that was answered.
    """

    def __init__(  # noqa: PLR0917 - what a link needs
        self,
        name: str,
        address: str,
        opener: Opener,
        settings: LinkSettings,
        questions: Questions,
        timeout_s: float,
    ) -> None:
        self.identity = ""
        self.is_dirty = False
        self.has_restarted = False
        self.is_doubtful = False
        self.sent = self.answered = 0
        self.last_sent_s = time.monotonic()
        self._name = name
        self._address = address
        self._opener = opener
        self._settings = settings
        self._questions = questions
        self._timeout_s = timeout_s
        self._arrivals = Arrivals(self._receive, settings)
        self._wire = threading.Lock()
        self._link: Link | None = None
        self._asked = ""
        self._met_before = False
        self._left = False

    # -- messages ----------------------------------------------------------------------------------------------

    def write(self, text: str, gate: Gate, *, is_question: bool = True) -> None:
        """Send one message.

        Raises:
            LinkError: it cannot be sent.
            BenchctlError: what the gate raises.
        """
        data = _encoded(text) + self._settings.ends.sent
        with self._wire:
            gate()
            if self._link is None:
                raise ConnectionLost("the link is closed")
            self.sent += 1
            self.last_sent_s = time.monotonic()
            if is_question:
                self._asked = text
            self._link.send(data)
            self._arrivals.sent(data, is_question=is_question)
        _traffic.debug("%s < %s", self._name, text)

    def read_text(self, deadline: float, gate: Gate) -> str:
        """The answer to a question.

        Raises:
            GarbledAnswer: it is not text.
        """
        line = self._read_line(deadline, gate)
        if not line.isascii() and len(line) > 1:  # one byte may be a byte of bits
            raise GarbledAnswer(f"answers bytes that are not text: {line[:40]!r}")
        return answer_text(line)

    def read_block(self, deadline: float, gate: Gate, *, headed: bool = False) -> bytes:
        """The data of the block that answers a question; if `headed`, text before it is dropped."""
        question = self.sent
        data = self._arrivals.block(deadline, gate, headed=headed)
        self._arrivals.end_of_block(deadline, gate)
        self._take_note(deadline, gate)
        self.answered = question
        return data

    def attend(self, deadline: float, gate: Gate) -> None:
        """Read what the instrument says to a command, if it says anything."""
        self._arrivals.attend(deadline, gate)

    @property
    def expects(self) -> bool:
        """Whether it has still to say something to a command."""
        return self._arrivals.expects

    def look_alive(self) -> None:
        """Raise if the peer has closed the link: the system would accept the next write, and lose it."""
        link = self._link
        if link is not None:
            link.has_waiting()

    def _read_line(self, deadline: float, gate: Gate) -> bytes:
        question, text = self.sent, self._asked  # the safe state may send during this wait
        try:
            line = self._arrivals.line(deadline, gate)
        except NoAnswer as error:
            raise NoAnswer(f"no answer to {text} in time", advice=error.advice) from error
        self._take_note(deadline, gate)
        self.answered = question
        _traffic.debug("%s > %r", self._name, line)
        return line

    def _take_note(self, deadline: float, gate: Gate) -> None:
        """Read what acknowledges the question that was just answered, if the instrument does so."""
        self._arrivals.answered("a question")
        self._arrivals.attend(deadline, gate)

    def _receive(self, deadline: float, gate: Gate) -> bytes:
        if self._link is None:
            raise ConnectionLost("the link is closed")
        return self._link.receive(deadline, gate)

    # -- a link that is in step --------------------------------------------------------------------------------

    @property
    def is_open(self) -> bool:
        """Whether there is a link, be it in step or not."""
        return self._link is not None

    def is_in_step(self) -> bool:
        """Whether there is a working link without an unexpected answer on it or still to come."""
        link = self._link
        try:
            if link is None or self.is_dirty or self._arrivals:
                return False
            return not link.has_waiting() or self._arrivals.expects
        except LinkError:
            return False

    def make_clean(self, gate: Gate) -> None:
        """After a failed exchange or one answer too many: get back in step with the instrument, or open a new link."""
        if self.is_in_step():
            return
        if self._link is not None:
            try:
                self._resynchronise(gate)
                return
            except InstrumentError as error:
                _traffic.debug("%s: not back in step (%s); opening a new link", self._name, error)
        self.reopen(gate)

    def _resynchronise(self, gate: Gate) -> None:
        link = self._link
        if link is None:
            raise ConnectionLost("the link is closed")
        link.drain()
        self._arrivals.clear()
        self._identify(gate)
        self._ask_for_power_cycle(gate)  # the link may be a gateway's, which stays open when the instrument is gone
        self.is_dirty = False
        gate()

    # -- a new link --------------------------------------------------------------------------------------------

    def reopen(self, gate: Gate) -> None:
        """Open a new link, and meet the instrument."""
        self.connect(gate)
        self.meet(gate)

    def connect(self, gate: Gate) -> None:
        """Open a new link, and see who is there."""
        gate()
        self.open_link(gate)
        self._identify(gate)

    def meet(self, gate: Gate) -> None:
        """From now on it is noticed when the instrument has been switched off and on."""
        self._ask_for_power_cycle(gate)
        self.is_dirty = False
        self._met_before = True
        gate()

    def open_link(self, gate: Gate) -> None:
        """A new link. The old one is closed first: many instruments take only one at a time."""
        self._check_not_left()
        self.drop()
        link = self._opener(self._address, self._settings)
        try:
            with self._wire:
                gate()
                self._check_not_left()
                self._arrivals.begin(marks_ends=link.marks_ends)
                link, self._link = self._link, link  # type: ignore[assignment]
        finally:  # the link that the safe state has opened meanwhile, or the new one if it is too late
            _close_quietly(link)

    def drop(self) -> None:
        """Close the link."""
        with self._wire:
            link, self._link = self._link, None
        _close_quietly(link)

    def leave(self, *, is_left: bool) -> None:
        """Close the link and open no other while it is left."""
        self._left = is_left
        if is_left:
            self.drop()

    def _check_not_left(self) -> None:
        if self._left:
            raise ConnectionLost("is left to the guardian")

    # -- who is there, and since when --------------------------------------------------------------------------

    def _identify(self, gate: Gate) -> None:
        """Ask who is there, ignoring answers to earlier questions; after the first time it must be the same one."""
        if not self._questions.identify:
            return
        self._ask(self._questions.identify, gate)
        deadline = time.monotonic() + self._timeout_s
        for _ in range(STALE_LINES):
            line = answer_text(self._read_line(deadline, gate))[:LONGEST_IDENTITY]
            if line == self.identity or (not self.identity and line and self._is_identity(line, gate)):
                self.identity = line
                return
        question = self._questions.identify[-1]
        raise GarbledAnswer(f"does not answer {question} as {self.identity or 'an instrument'}")

    def _is_identity(self, line: str, gate: Gate) -> bool:
        """Whether the first answer is one. One that has not the usual fields may be late, with a better one behind."""
        if line.count(",") >= IDENTITY_COMMAS:
            return True
        return not self._more_comes(gate)

    def _more_comes(self, gate: Gate) -> bool:
        if self._arrivals:
            return True
        try:
            self._arrivals.await_more(time.monotonic() + BETTER_S, gate)
        except NoAnswer:
            return False
        return True

    def _ask_for_power_cycle(self, gate: Gate) -> None:
        """Ask whether the instrument was switched on since it was last asked.

        Reading the register clears it, so a lost answer cannot be read again. No answer counts as lost settings.
        """
        question = self._questions.power_cycled
        if question is None:
            self.is_doubtful = self.is_doubtful or self._met_before
            return
        self._ask(question.messages, gate)
        try:
            was_cycled = self.read_as(question.messages[-1], question.take)(time.monotonic() + self._timeout_s, gate)
        except (NoAnswer, ConnectionLost, GarbledAnswer):
            self.has_restarted = self.has_restarted or self._met_before
            raise
        self.has_restarted = self.has_restarted or (was_cycled and self._met_before)

    def read_as(self, question: str, take: Callable[[str], _T]) -> Callable[[float, Gate], _T]:
        """Reads one answer and takes it; one that `take` refuses may belong to another question."""

        def read(deadline: float, gate: Gate) -> _T:
            answer = self.read_text(deadline, gate)
            try:
                return take(answer)
            except ValueError as error:
                raise GarbledAnswer(f"answers {answer[:60]!r} to {question}") from error

        return read

    def _ask(self, messages: tuple[str, ...], gate: Gate) -> None:
        *before, question = messages
        for message in before:
            self.write(message, gate, is_question=False)
            self.attend(time.monotonic() + self._timeout_s, gate)
        self.write(question, gate)


def _close_quietly(link: Link | None) -> None:
    if link is not None:
        try:
            link.close()
        except LinkError as error:
            _traffic.debug("a link could not be closed: %s", error)
