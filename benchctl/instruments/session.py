"""A conversation with one instrument: locks, recovery, and a last word for the safe state.

Two locks with two jobs. `_talk` is held around a question and its answer, or two threads would get each other's
answers. `_wire` is held around one write only, together with a look at the interlock; so the safe state may write
while another thread waits for an answer, and nothing of the run can be written after it.
"""

from __future__ import annotations

import functools
import logging
import math
import threading
import time
from collections.abc import Callable, Iterator
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
from benchctl.instruments.arrivals import Arrivals, Gate
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.opening import open_link
from benchctl.readable import answer_text
from benchctl.scpi.errors import parse_error
from benchctl.scpi.numbers import parse_number, parse_numbers

if TYPE_CHECKING:
    from benchctl.instruments.link import Link

_T = TypeVar("_T")
Report = Callable[..., None]
_traffic = logging.getLogger("benchctl.traffic")

TIMEOUT_S = 2.0
# The safe state waits no longer than this for the thread that talks; its read gives way within a twentieth of that.
GIVE_WAY_S = 1.0
# One recovery for each exchange, whether its answer was lost or garbled: a second failure in a row is news for the
# run, not for a loop.
ATTEMPTS = 2
# A late answer or two may precede the answer to *IDN?; more means that the instrument talks nonsense.
STALE_LINES = 8
# A queue longer than this belongs to an instrument that reports errors as fast as they are read.
ERROR_QUEUE_READS = 50
# IEEE 488.2, 10.14.3: what *IDN? answers is at most 72 characters; not every instrument keeps to that.
LONGEST_IDENTITY = 200
# IEEE 488.2, 11.5.1.1: bit 7 of the standard event status register is power on.
POWER_ON_BIT = 0x80


# What the journal is told of an exchange that needed its second attempt.
ASKED_AGAIN = "asked again"


def _never() -> None:
    """The safe state waits for nobody's permission."""


def _untold(_event: str, **_fields: object) -> None:
    """Before there is a journal, nobody is told."""


def _close_quietly(link: Link | None) -> None:
    if link is not None:
        try:
            link.close()
        except LinkError as error:
            _traffic.debug("a link could not be closed: %s", error)


def _with_numbers(count: int, answer: str) -> tuple[str, list[float]]:
    return answer, parse_numbers(answer, count)


def _register(answer: str) -> int:
    """What a status register holds (IEEE 488.2 11.4.2: NR1)."""
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
        timeout_s: how long an answer may take, unless a question says otherwise.
    """

    def __init__(
        self,
        name: str,
        address: str,
        interlock: Interlock,
        *,
        opener: Callable[[str], Link] = open_link,
        timeout_s: float = TIMEOUT_S,
    ) -> None:
        self.name = name
        self.address = address
        self.identity = ""
        self._interlock = interlock
        self._opener = opener
        self._timeout_s = timeout_s
        self._report: Report = _untold
        self._talk = threading.RLock()
        self._wire = threading.Lock()
        self._link: Link | None = None
        self._dirty = False
        self._sent = self._answered = 0
        self._arrivals = Arrivals(self._receive)
        self._met_before = False
        self._restarted = False
        self._left = False

    # -- what the roles use ------------------------------------------------------------------------------------

    def say_hello(self) -> str:
        """Connect, and return the answer to *IDN?, which takes nothing from whoever else has the instrument in use."""
        with self._talk, self._placed():
            try:
                self._connect(self._interlock.check)
            except (NoAnswer, ConnectionLost, GarbledAnswer) as error:  # somebody is there: asked again, as ever
                _traffic.debug("%s: %s; opening another link", self.name, error)
                self._connect(self._interlock.check)
        return self.identity

    def open(self) -> str:
        """Connect, unless that is done, and return the answer to *IDN?. From now on a power cycle is noticed."""
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
        """Keep other threads' exchanges out from between messages that belong together; only the safe state passes."""
        with self._talk:
            yield

    def report_to(self, report: Report) -> None:
        """From now on each exchange of the run that needs a second attempt is told, before that is made."""
        self._report = report

    def command(self, text: str) -> None:
        """Send a command that has no answer."""
        self._exchange(text, lambda _deadline, _gate: None, self._timeout_s)

    def ask(self, text: str) -> str:
        """Send a question and return its answer, one line, without its terminator."""
        return self.ask_for(text, str)

    def ask_for(self, text: str, parse: Callable[[str], _T]) -> _T:
        """Send a question and return what `parse` makes of its answer, one line.

        Asking must change nothing: where `parse` raises a ValueError, the question is asked once more on a link that
        is in step, as after an answer that was lost.

        Raises:
            GarbledAnswer: `parse` refuses the second answer too.
        """
        return self._exchange(text, self._parsed(text, parse), self._timeout_s, may_garble=True)

    def ask_number(self, text: str) -> float:
        """Ask for a number.

        Raises:
            GarbledAnswer: the answer is not a number, twice; or it is one of those that mean none: 9.91E37, +-9.9E37.
        """
        (value,) = self.ask_numbers(text, 1)
        return value

    def ask_numbers(self, text: str, count: int) -> list[float]:
        """Ask for so many numbers in one answer.

        Raises:
            GarbledAnswer: the answer is something else, twice; or one of them means that there is none.
        """
        answer, values = self.ask_for(text, functools.partial(_with_numbers, count))
        if not all(map(math.isfinite, values)):
            raise GarbledAnswer(
                f"answers {quote(answer)} to {text}: over range, or nothing to measure",
                instrument=self.name,
                address=self.address,
            )
        return values

    def ask_block(self, text: str, timeout_s: float) -> bytes:
        """Ask for a definite-length block and return its data. An instrument may let go of what it has sent, so one
        that is garbled is not asked for again."""
        return self._exchange(text, self._read_block, timeout_s)

    def distrust(self, text: str, reason: str) -> None:
        """An answer to `text` cannot be right: before anything else is sent, the link is cleared and verified."""
        with self._talk:
            self._dirty = True
        self._tell(text, reason)

    def check_errors(self) -> None:
        """Empty the error queue.

        Raises:
            InstrumentReports: with the first error that was in it.
        """
        if errors := self._take_errors():
            raise InstrumentReports(*errors[0], instrument=self.name, address=self.address)

    def report_every_error(self) -> None:
        """See that no kind of error is kept out of the queue, as another client may have asked for.

        STATus:PRESet lets every error in (SCPI-99 volume 2, 20 and SYSTem:ERRor:ENABle) and changes nothing that the
        instrument puts out. One that does not know it reports that; so the queue must be empty before, and is then.
        """
        self.command("STAT:PRES")
        if errors := self._take_errors():
            _traffic.debug("%s: knows no STAT:PRES: %s", self.name, errors)

    def _take_errors(self) -> list[tuple[int, str]]:
        errors: list[tuple[int, str]] = []
        read = self._parsed("SYST:ERR?", parse_error)
        for _ in range(ERROR_QUEUE_READS):
            # Asking takes the entry out of the queue, so one that comes garbled is not asked for again.
            code, text = self._exchange("SYST:ERR?", read, self._timeout_s)
            if code == 0:
                break
            errors.append((code, text))
        return errors

    def check_power(self) -> None:
        """See that the instrument has not been switched off and on since it was last asked.

        Raises:
            SettingsLost: it has.
        """
        read = self._parsed("*ESR?", _register)
        if self._exchange("*ESR?", read, self._timeout_s) & POWER_ON_BIT:
            self._restarted = True
        self._check_settings()

    def close(self) -> None:
        """Give the link back."""
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
        """Whether the last message has been answered, so that the instrument has acted on all that was sent."""
        return self._answered == self._sent and not self._dirty

    # -- what the safe state uses ------------------------------------------------------------------------------

    def command_urgently(self, text: str) -> None:
        """Write past the interlock and past a read that another thread waits in; on a dead link, on a new one."""
        with self._placed():
            try:
                self._write_if_alive(text)
            except LinkError:
                self._open_link(_never)
                self._write(text, _never)

    def ask_urgently(self, text: str) -> str:
        """Ask past the interlock, for a confirmation. Waits for the thread that talks now; its read gives way.

        Where an answer may still be on its way, and on a dead link, it is asked over a new one.
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
        except ConnectionLost:  # a peer that closes has often done so before it was asked, and answers on a new link
            if not had_answered:
                raise
        self._open_link(_never)
        return self._ask_once(text)

    def _ask_once(self, text: str) -> str:
        self._dirty = True
        self._write(text, _never)
        answer = self._read_text(time.monotonic() + self._timeout_s, _never)
        self._dirty = False
        return answer

    def _write_if_alive(self, text: str) -> None:
        """The first write into a link that the peer has closed is taken by the system, and lost."""
        link = self._link
        if link is not None:
            link.has_waiting()
        self._write(text, _never)

    def look_for_power_cycle(self) -> None:
        """Ask, past the interlock and on a new link, whether the instrument was switched off and on.

        Raises:
            InstrumentError: it does not answer, as long as it is off or starts up.
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
    ) -> _T:
        """Send a message and read its answer, if it has one; again if the link fails or, where the answer
        `may_garble`, if it came garbled."""
        gate = self._interlock_and_settings
        forgiven = (LinkError, GarbledAnswer) if may_garble else LinkError
        with self._talk, self._placed():
            for _ in range(ATTEMPTS - 1):
                try:
                    return self._attempt(text, read, timeout_s, gate)
                except forgiven as error:
                    self._tell(text, error.message)
            return self._attempt(text, read, timeout_s, gate)

    def _tell(self, text: str, reason: str) -> None:
        _traffic.debug("%s: %s; clearing the link and asking again", self.name, reason)
        self._report(ASKED_AGAIN, instrument=self.name, message=text, reason=reason)

    def _interlock_and_settings(self) -> None:
        """Nothing of the run goes to an instrument that has lost its settings, whoever was the first to notice."""
        self._interlock.check()
        self._check_settings()

    def _check_settings(self) -> None:
        if self._restarted:
            raise SettingsLost("was switched off and on during the run; its settings are lost")

    def _attempt(self, text: str, read: Callable[[float, Gate], _T], timeout_s: float, gate: Gate) -> _T:
        self._make_clean(gate)
        self._dirty = True  # until the answer has come whole: the next one may belong to this question
        self._write(text, gate)
        answer = read(time.monotonic() + timeout_s, gate)
        self._dirty = False
        return answer

    def _write(self, text: str, gate: Gate) -> None:
        if not text.isprintable():
            raise ValueError(f"a message is one line of plain text, not {text!r}")
        data = text.encode("ascii") + b"\n"
        with self._wire:
            gate()
            if self._link is None:
                raise ConnectionLost("the link is closed")
            self._sent += 1
            self._link.send(data)
        _traffic.debug("%s < %s", self.name, text)

    # -- answers -----------------------------------------------------------------------------------------------

    def _parsed(self, question: str, parse: Callable[[str], _T]) -> Callable[[float, Gate], _T]:
        """Reads one line and takes it for what `parse` makes of it; anything else may answer another question."""

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
        question = self._sent  # the safe state may send more while this waits
        line = self._arrivals.line(deadline, gate)
        self._answered = question
        _traffic.debug("%s > %r", self.name, line)
        return line

    def _read_block(self, deadline: float, gate: Gate) -> bytes:
        data = self._arrivals.block(deadline, gate)
        self._read_line(deadline, gate)  # the terminator, and CR before it
        return data

    def _receive(self, deadline: float, gate: Gate) -> bytes:
        if self._link is None:
            raise ConnectionLost("the link is closed")
        return self._link.receive(deadline, gate)

    # -- recovery ----------------------------------------------------------------------------------------------

    def _make_clean(self, gate: Gate) -> None:
        """After a failed exchange, or an answer too many, get back in step with the instrument or onto a new link."""
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
        """Whether there is a link, alive, and no answer on it or on its way that nobody waits for."""
        link = self._link
        try:
            return link is not None and not (self._dirty or self._arrivals or link.has_waiting())
        except LinkError:
            return False

    def _resynchronise(self, gate: Gate) -> None:
        link = self._link
        if link is None:
            raise ConnectionLost("the link is closed")
        link.drain()
        self._arrivals.clear()
        self._identify(gate)
        self._ask_for_power_cycle(gate)  # the link may be a gateway's, which stands whatever becomes of the instrument
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
        """A new link in place of the old one, which is closed first: many an instrument takes one at a time."""
        self._check_not_left()
        self._drop_link()
        link = self._opener(self.address)
        try:
            with self._wire:
                gate()
                self._check_not_left()
                link, self._link = self._link, link  # type: ignore[assignment]
                self._arrivals.clear()
        finally:  # the one that the safe state has opened meanwhile, or the new one if it comes too late
            _close_quietly(link)

    def _check_not_left(self) -> None:
        if self._left:
            raise ConnectionLost("is left to the guardian")

    def _drop_link(self) -> None:
        with self._wire:
            link, self._link = self._link, None
        _close_quietly(link)

    def _identify(self, gate: Gate) -> None:
        """Ask who is there, past answers that belong to earlier questions; later, insist on the same instrument."""
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

        Asking clears the answer. One that is lost cannot be had again, and whoever cannot tell has lost its settings.
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
        """Give an error that knows no instrument the name and address of this one."""
        try:
            yield
        except InstrumentError as error:
            if error.instrument:
                raise
            raise type(error)(error.message, instrument=self.name, address=self.address, advice=error.advice) from error
