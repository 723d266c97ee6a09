"""A conversation with one instrument: locks, recovery, and priority for the safe state.

There are two locks. `_talk` is held around a question and its answer; otherwise two threads could get each other's
answers. `_wire` is held around one write only, together with a check of the interlock; so the safe state may write
while another thread waits for an answer, and no command of the run can be written after it.
"""

from __future__ import annotations

import functools
import logging
import math
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, TypeVar

from benchctl.errors import (
    ConnectionLost,
    GarbledAnswer,
    InstrumentError,
    InstrumentReports,
    LinkError,
    NoAnswer,
    SettingsLost,
    quote,
)
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.links.arrivals import Arrivals, Gate
from benchctl.instruments.links.opening import Opener, open_link
from benchctl.instruments.links.settings import USUAL, LinkSettings
from benchctl.readable import answer_text
from benchctl.scpi.errors import parse_error
from benchctl.scpi.numbers import parse_number

if TYPE_CHECKING:
    from benchctl.instruments.links.link import Link

_T = TypeVar("_T")
Report = Callable[..., None]
_traffic = logging.getLogger("benchctl.traffic")

# The safe state waits at most this long for the thread that talks, whose read ends within a twentieth of it.
GIVE_WAY_S = 1.0
# How often a thread looks whether another that lets the instrument be quiet has done.
TURN_S = 0.02
# An instrument that acknowledges or echoes a message does so within this time, or the safe state goes on.
NOTE_S = 0.3
# One recovery for each exchange, after a lost or a garbled answer: a second failure in a row goes to the run.
ATTEMPTS = 2
# One or two late answers may come before the answer to *IDN?; more means that the instrument does not work.
STALE_LINES = 8
# With a longer queue, the instrument makes errors as fast as they are read.
ERROR_QUEUE_READS = 50
# IEEE 488.2, 10.14.3: what *IDN? answers is at most 72 characters; not every instrument keeps to that.
LONGEST_IDENTITY = 200
# IEEE 488.2, 11.5.1.1: bit 7 of the standard event status register is power on.
POWER_ON_BIT = 0x80


# What the journal gets about an exchange that needed a second attempt.
ASKED_AGAIN = "asked again"


def _never() -> None:
    """The safe state never waits for permission."""


def _untold(_event: str, **_fields: object) -> None:
    """Used before there is a journal."""


def _close_quietly(link: Link | None) -> None:
    if link is not None:
        try:
            link.close()
        except LinkError as error:
            _traffic.debug("a link could not be closed: %s", error)


def _register(answer: str) -> int:
    """The value of a status register (IEEE 488.2 11.4.2: NR1)."""
    value = parse_number(answer)
    if not value.is_integer():
        raise ValueError("no whole number")
    return int(value)


class Session:
    """The only way to an instrument. Safe for several threads; errors carry the instrument's name and address.

    Args:
        name: the instrument's name in the bench file.
        address: its VISA address.
        interlock: asked before every write of the run.
        opener: opens the link; tests pass their own.
        settings: how the link behaves.
        timeout_s: how long an answer may take, unless a question says otherwise; that of the link, if left out.
        sleep: waits on the run's clock.
    """

    def __init__(
        self,
        name: str,
        address: str,
        interlock: Interlock,
        *,
        opener: Opener = open_link,
        settings: LinkSettings = USUAL,
        timeout_s: float | None = None,
        sleep: Callable[[float], object] = time.sleep,
    ) -> None:
        self.name = name
        self.address = address
        self.identity = ""
        self._interlock = interlock
        self._opener = opener
        self._settings = settings
        self._timeout_s = settings.timeout_s if timeout_s is None else timeout_s
        self._sleep = sleep
        self._rests = False
        self._report: Report = _untold
        self._talk = threading.RLock()
        self._wire = threading.Lock()
        self._link: Link | None = None
        self._dirty = False
        self._sent = self._answered = 0
        self._arrivals = Arrivals(self._receive, settings)
        self._met_before = False
        self._restarted = False
        self._left = False

    # -- what the roles use ------------------------------------------------------------------------------------

    def say_hello(self) -> str:
        """Connect, and return the answer to *IDN?. This does not disturb another user of the instrument."""
        with self._talk, self._placed():
            try:
                self._connect(self._interlock.check)
            except (NoAnswer, ConnectionLost, GarbledAnswer) as error:  # something is there: ask again, as usual
                _traffic.debug("%s: %s; opening another link", self.name, error)
                self._connect(self._interlock.check)
        return self.identity

    def open(self) -> str:
        """Connect, if not yet connected, and return the answer to *IDN?. From now on a power cycle is noticed."""
        if self._link is None:
            self.say_hello()
        with self._talk, self._placed():
            try:
                self._meet(self._interlock.check)
            except (NoAnswer, ConnectionLost, GarbledAnswer) as error:
                _traffic.debug("%s: %s; opening another link", self.name, error)
                self._reopen(self._interlock.check)
        return self.identity

    @contextmanager
    def undisturbed(self) -> Iterator[None]:
        """Let no other thread's exchange come between messages that belong together; only the safe state may."""
        with self._turn():
            yield

    def rest(self, seconds: float) -> None:
        """Let the instrument be quiet for so long; whoever calls this holds the session, so nobody else disturbs it.

        Only the safe state may. On a virtual clock other threads of the run go on meanwhile.
        """
        with self._turn():
            self._rests = True
            try:
                self._sleep(seconds)
            finally:
                self._rests = False

    @contextmanager
    def _turn(self) -> Iterator[None]:
        """The right to talk. Where the thread that has it rests, the run's clock must go on: wait on that clock."""
        while self._rests:
            self._sleep(TURN_S)
        with self._talk:
            yield

    def report_to(self, report: Report) -> None:
        """From now on report each exchange of the run that needs a second attempt, before that attempt."""
        self._report = report

    def command(self, text: str) -> None:
        """Send a command that has no answer."""
        self._exchange(text, self._arrivals.attend, self._timeout_s, is_question=False)

    def ask(self, text: str) -> str:
        """Send a question and return its answer, one line, without its terminator."""
        return self.ask_for(text, str)

    def ask_for(self, text: str, parse: Callable[[str], _T], timeout_s: float | None = None) -> _T:
        """Send a question and return its answer, one line, as parsed by `parse`.

        The question must change nothing: if `parse` raises a ValueError, it is asked once more on a link that is in
        step, as after a lost answer.

        Raises:
            GarbledAnswer: `parse` refuses the second answer too.
        """
        return self._exchange(text, self._parsed(text, parse), timeout_s or self._timeout_s, may_garble=True)

    def ask_number(self, text: str) -> float:
        """Ask for a number; see `ask_readings`."""
        (value,) = self.ask_readings(text, [parse_number])
        return value

    def ask_readings(
        self, text: str, takers: Sequence[Callable[[str], float]], timeout_s: float | None = None
    ) -> list[float]:
        """Ask once for one number or several; each of `takers` takes one out of the answer.

        Raises:
            GarbledAnswer: twice the answer does not hold them; or one of them means no value: 9.91E37, +-9.9E37.
        """
        answer, values = self.ask_for(text, lambda answer: (answer, [take(answer) for take in takers]), timeout_s)
        if not all(map(math.isfinite, values)):
            raise GarbledAnswer(
                f"answers {quote(answer)} to {text}: over range, or nothing to measure",
                instrument=self.name,
                address=self.address,
            )
        return values

    def ask_block(self, text: str, timeout_s: float, *, header: bool = False) -> bytes:
        """Ask for a definite-length block and return its data; with `header`, text before it is dropped.

        An instrument may delete what it has sent, so a garbled block is not asked for again.
        """
        return self._exchange(text, functools.partial(self._read_block, headed=header), timeout_s)

    def distrust(self, text: str, reason: str) -> None:
        """Call this when an answer to `text` cannot be right: the link is cleared and verified before the next
        message."""
        with self._talk:
            self._dirty = True
        self._tell(text, reason)

    def check_errors(self) -> None:
        """Empty the error queue.

        Raises:
            InstrumentReports: with the first error that was in it.
        """
        if errors := self.take_errors():
            raise InstrumentReports(*errors[0], instrument=self.name, address=self.address)

    def report_every_error(self) -> None:
        """Make sure that every kind of error enters the queue; another client may have disabled some.

        STATus:PRESet enables every error (SCPI-99 volume 2, 20 and SYSTem:ERRor:ENABle) and does not change what the
        instrument puts out. An instrument without this command reports an error; so the queue must be empty before, and
        is emptied after.
        """
        self.command("STAT:PRES")
        if errors := self.take_errors():
            _traffic.debug("%s: knows no STAT:PRES: %s", self.name, errors)

    def take_errors(self) -> list[tuple[int, str]]:
        """Empty the error queue, and return what was in it, the oldest first."""
        errors: list[tuple[int, str]] = []
        read = self._parsed("SYST:ERR?", parse_error)
        for _ in range(ERROR_QUEUE_READS):
            # The question takes the entry out of the queue, so a garbled entry is not asked for again.
            code, text = self._exchange("SYST:ERR?", read, self._timeout_s)
            if code == 0:
                break
            errors.append((code, text))
        return errors

    def check_power(self) -> None:
        """Check that the instrument has not been switched off and on since it was last asked.

        Raises:
            SettingsLost: it was.
        """
        read = self._parsed("*ESR?", _register)
        if self._exchange("*ESR?", read, self._timeout_s) & POWER_ON_BIT:
            self._restarted = True
        self._check_settings()

    def close(self) -> None:
        """Close the link."""
        self._drop_link()

    def leave(self) -> None:
        """Give the link back and open no other: the guardian takes the instrument over, and many take one link."""
        self._left = True
        self._drop_link()

    @property
    def has_lost_settings(self) -> bool:
        """Whether the instrument is known to have been switched off and on since it was first met."""
        return self._restarted

    @property
    def is_settled(self) -> bool:
        """Whether the last message was answered, so that the instrument has done everything that was sent."""
        return self._answered == self._sent and not self._dirty

    # -- what the safe state uses ------------------------------------------------------------------------------

    def command_urgently(self, text: str) -> None:
        """Write in spite of the interlock and of another thread's waiting read; if the link is dead, on a new one."""
        with self._placed():
            self._await_note()
            try:
                self._write_if_alive(text)
            except LinkError:
                self._open_link(_never)
                self._write(text, _never, is_question=False)

    def ask_urgently(self, text: str) -> str:
        """Ask for a confirmation in spite of the interlock. Waits for the thread that talks now, whose read ends early.

        If an answer may still come, or the link is dead, the question is asked over a new link.
        """
        if not self._talk.acquire(timeout=GIVE_WAY_S):
            raise NoAnswer("another question is still under way", instrument=self.name, address=self.address)
        try:
            with self._placed():
                return self._ask_on_sound_link(text)
        finally:
            self._talk.release()

    def _ask_on_sound_link(self, text: str) -> str:
        had_answered = self._is_in_step()
        if not had_answered:
            self._open_link(_never)
        try:
            return self._ask_once(text)
        except ConnectionLost:  # often the peer had closed before the question, and answers on a new link
            if not had_answered:
                raise
        self._open_link(_never)
        return self._ask_once(text)

    def _ask_once(self, text: str) -> str:
        self._await_note()
        self._dirty = True
        self._write(text, _never)
        answer = self._read_text(time.monotonic() + self._timeout_s, _never)
        self._dirty = False
        return answer

    def _await_note(self) -> None:
        """An instrument that takes note of each message wants the next one only then; but off goes first."""
        if not self._arrivals.expects or not self._talk.acquire(blocking=False):
            return
        try:
            self._arrivals.attend(time.monotonic() + NOTE_S, _never)
        except InstrumentError as error:
            _traffic.debug("%s: %s", self.name, error)
        finally:
            self._talk.release()

    def _write_if_alive(self, text: str) -> None:
        """The system accepts the first write into a link that the peer has closed, and loses it."""
        link = self._link
        if link is not None:
            link.has_waiting()
        self._write(text, _never, is_question=False)

    def look_for_power_cycle(self) -> None:
        """Ask, in spite of the interlock and on a new link, whether the instrument was switched off and on.

        Raises:
            InstrumentError: it does not answer because it is off or starting.
        """
        with self._talk, self._placed():
            self._left = False
            self._reopen(_never)

    # -- one exchange ------------------------------------------------------------------------------------------

    def _exchange(
        self,
        text: str,
        read: Callable[[float, Gate], _T],
        timeout_s: float,
        *,
        may_garble: bool = False,
        is_question: bool = True,
    ) -> _T:
        """Send a message and read what it is answered. Repeat it if the link fails or if what comes is garbled, where
        `may_garble` says so; a command may always be repeated."""
        gate = self._interlock_and_settings
        forgiven = (LinkError, GarbledAnswer) if may_garble or not is_question else LinkError
        with self._turn(), self._placed():
            for _ in range(ATTEMPTS - 1):
                try:
                    return self._attempt(text, read, timeout_s, gate, is_question=is_question)
                except forgiven as error:
                    self._tell(text, error.message)
            return self._attempt(text, read, timeout_s, gate, is_question=is_question)

    def _tell(self, text: str, reason: str) -> None:
        _traffic.debug("%s: %s; clearing the link and asking again", self.name, reason)
        self._report(ASKED_AGAIN, instrument=self.name, message=text, reason=reason)

    def _interlock_and_settings(self) -> None:
        """The run sends nothing to an instrument that has lost its settings, whichever thread noticed it first."""
        self._interlock.check()
        self._check_settings()

    def _check_settings(self) -> None:
        if self._restarted:
            raise SettingsLost("was switched off and on during the run; its settings are lost")

    def _attempt(
        self, text: str, read: Callable[[float, Gate], _T], timeout_s: float, gate: Gate, *, is_question: bool
    ) -> _T:
        self._make_clean(gate)
        self._dirty = True  # until the whole answer has come: the next answer may belong to this question
        self._write(text, gate, is_question=is_question)
        answer = read(time.monotonic() + timeout_s, gate)
        self._dirty = False
        return answer

    def _write(self, text: str, gate: Gate, *, is_question: bool = True) -> None:
        if not text.isprintable():
            raise ValueError(f"a message is one line of plain text, not {text!r}")
        data = text.encode("ascii") + self._settings.ends.sent
        with self._wire:
            gate()
            if self._link is None:
                raise ConnectionLost("the link is closed")
            self._sent += 1
            self._link.send(data)
            self._arrivals.sent(data, is_question=is_question)
        _traffic.debug("%s < %s", self.name, text)

    # -- answers -----------------------------------------------------------------------------------------------

    def _parsed(self, question: str, parse: Callable[[str], _T]) -> Callable[[float, Gate], _T]:
        """Reads one line and parses it; an answer that `parse` refuses may belong to another question."""

        def read(deadline: float, gate: Gate) -> _T:
            answer = self._read_text(deadline, gate)
            try:
                return parse(answer)
            except ValueError as error:
                raise GarbledAnswer(f"answers {answer[:60]!r} to {question}") from error

        return read

    def _read_text(self, deadline: float, gate: Gate) -> str:
        line = self._read_line(deadline, gate)
        if not line.isascii():
            raise GarbledAnswer(f"answers bytes that are not text: {line[:40]!r}")
        return answer_text(line)

    def _read_line(self, deadline: float, gate: Gate) -> bytes:
        question = self._sent  # the safe state may send during this wait
        line = self._arrivals.line(deadline, gate)
        self._take_note(deadline, gate)
        self._answered = question
        _traffic.debug("%s > %r", self.name, line)
        return line

    def _take_note(self, deadline: float, gate: Gate) -> None:
        """Read what acknowledges the question that was just answered, if the instrument does so."""
        self._arrivals.answered("a question")
        self._arrivals.attend(deadline, gate)

    def _read_block(self, deadline: float, gate: Gate, *, headed: bool) -> bytes:
        question = self._sent
        data = self._arrivals.block(deadline, gate, headed=headed)
        self._arrivals.end_of_block(deadline, gate)
        self._take_note(deadline, gate)
        self._answered = question
        return data

    def _receive(self, deadline: float, gate: Gate) -> bytes:
        if self._link is None:
            raise ConnectionLost("the link is closed")
        return self._link.receive(deadline, gate)

    # -- recovery ----------------------------------------------------------------------------------------------

    def _make_clean(self, gate: Gate) -> None:
        """After a failed exchange or one answer too many: get back in step with the instrument, or open a new link."""
        if self._is_in_step():
            return
        if self._link is not None:
            try:
                self._resynchronise(gate)
                return
            except InstrumentError as error:
                _traffic.debug("%s: not back in step (%s); opening a new link", self.name, error)
        self._reopen(gate)

    def _is_in_step(self) -> bool:
        """Whether there is a working link without an unexpected answer on it or still to come."""
        link = self._link
        try:
            if link is None or self._dirty or self._arrivals:
                return False
            return not link.has_waiting() or self._arrivals.expects
        except LinkError:
            return False

    def _resynchronise(self, gate: Gate) -> None:
        link = self._link
        if link is None:
            raise ConnectionLost("the link is closed")
        link.drain()
        self._arrivals.clear()
        self._identify(gate)
        self._ask_for_power_cycle(gate)  # the link may be a gateway's, which stays open when the instrument is gone
        self._dirty = False
        gate()

    def _reopen(self, gate: Gate) -> None:
        self._connect(gate)
        self._meet(gate)

    def _connect(self, gate: Gate) -> None:
        gate()
        self._open_link(gate)
        self._identify(gate)

    def _meet(self, gate: Gate) -> None:
        self._ask_for_power_cycle(gate)
        self._dirty = False
        self._met_before = True
        gate()

    def _open_link(self, gate: Gate) -> None:
        """A new link. The old one is closed first: many instruments take only one at a time."""
        self._check_not_left()
        self._drop_link()
        link = self._opener(self.address, self._settings)
        try:
            with self._wire:
                gate()
                self._check_not_left()
                self._arrivals.begin(marks_ends=link.marks_ends)
                link, self._link = self._link, link  # type: ignore[assignment]
        finally:  # the link that the safe state has opened meanwhile, or the new one if it is too late
            _close_quietly(link)

    def _check_not_left(self) -> None:
        if self._left:
            raise ConnectionLost("is left to the guardian")

    def _drop_link(self) -> None:
        with self._wire:
            link, self._link = self._link, None
        _close_quietly(link)

    def _identify(self, gate: Gate) -> None:
        """Ask for *IDN?, ignoring answers to earlier questions; after the first time it must be the same instrument."""
        self._write("*IDN?", gate)
        deadline = time.monotonic() + self._timeout_s
        for _ in range(STALE_LINES):
            line = answer_text(self._read_line(deadline, gate))[:LONGEST_IDENTITY]
            if line == self.identity or (not self.identity and line.count(",") >= 3):
                self.identity = line
                return
        raise GarbledAnswer(f"does not answer *IDN? as {self.identity or 'an instrument'}")

    def _ask_for_power_cycle(self, gate: Gate) -> None:
        """Ask whether the instrument was switched on since it was last asked.

        Reading the register clears it, so a lost answer cannot be read again. No answer counts as lost settings.
        """
        self._write("*ESR?", gate)
        try:
            events = self._parsed("*ESR?", _register)(time.monotonic() + self._timeout_s, gate)
        except (NoAnswer, ConnectionLost, GarbledAnswer):
            self._restarted = self._restarted or self._met_before
            raise
        self._restarted = self._restarted or (bool(events & POWER_ON_BIT) and self._met_before)

    # -- words -------------------------------------------------------------------------------------------------

    @contextmanager
    def _placed(self) -> Iterator[None]:
        """Add this instrument's name and address to an error that has none."""
        try:
            yield
        except InstrumentError as error:
            if error.instrument:
                raise
            raise type(error)(error.message, instrument=self.name, address=self.address, advice=error.advice) from error
