"""A conversation with one instrument: whose turn it is to talk, one exchange, and priority for the safe state.

There are two locks. `_talk` is held around a question and its answer; otherwise two threads could get each other's
answers. The other one is held around one write only; see `links/connection.py`.
"""

from __future__ import annotations

import functools
import logging
import math
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TypeVar

from benchctl.errors import (
    ConnectionLost,
    GarbledAnswer,
    InstrumentError,
    InstrumentReports,
    LinkError,
    NoAnswer,
    SettingChanged,
    SettingRefused,
    SettingsLost,
    quote,
)
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.links.arrivals import Gate
from benchctl.instruments.links.connection import Connection, WithBlock
from benchctl.instruments.links.opening import Opener, open_link
from benchctl.instruments.links.questions import USUAL_QUESTIONS, Question, Questions
from benchctl.instruments.links.settings import USUAL, LinkSettings
from benchctl.instruments.pace import MeasuredPace
from benchctl.instruments.turn import Turn
from benchctl.instruments.urgent import UrgentTalk, never
from benchctl.scpi.numbers import parse_number

_T = TypeVar("_T")
Report = Callable[..., None]
_traffic = logging.getLogger("benchctl.traffic")

# One recovery for each exchange, after a lost or a garbled answer: a second failure in a row goes to the run.
ATTEMPTS = 2
# With a longer queue, the instrument makes errors as fast as they are read.
ERROR_QUEUE_READS = 50


# What the journal gets about an exchange that needed a second attempt.
ASKED_AGAIN = "asked again"


def _untold(_event: str, **_fields: object) -> None:
    """Used before there is a journal."""


def _asks_nothing() -> bool:
    """Used where nobody knows what could be asked."""
    return False


class Session:
    """The only way to an instrument. Safe for several threads; errors carry the instrument's name and address.

    Args:
        name: the instrument's name in the bench file.
        address: its VISA address.
        interlock: asked before every write of the run.
        opener: opens the link; tests pass their own.
        settings: how the link behaves.
        questions: what the instrument can be asked about itself.
        timeout_s: how long an answer may take, unless a question says otherwise; that of the link, if left out.
        sleep: waits on the run's clock.
        owed: how long the instrument needs from now on before it has done what it was sent; for virtual time, where
            what takes time is done at once, and is waited for behind each exchange. None in real time.
        now: the time of the run's clock.
        ask_every_s: the shortest time from one question to the next.

    Attributes:
        pace: how long its answers take.
    """

    def __init__(
        self,
        name: str,
        address: str,
        interlock: Interlock,
        *,
        opener: Opener = open_link,
        settings: LinkSettings = USUAL,
        questions: Questions = USUAL_QUESTIONS,
        timeout_s: float | None = None,
        sleep: Callable[[float], object] = time.sleep,
        owed: Callable[[], float] | None = None,
        now: Callable[[], float] = time.monotonic,
        ask_every_s: float = 0.0,
    ) -> None:
        self.pace = MeasuredPace()
        self._now = now
        self._ask_every_s = ask_every_s
        self._may_ask_s = -math.inf
        self.name = name
        self.address = address
        self.settings = settings
        self._interlock = interlock
        self._questions = questions
        self._timeout_s = settings.timeout_s if timeout_s is None else timeout_s
        self._sleep = sleep
        self._owed = owed
        self._report: Report = _untold
        self._verify: Callable[[], bool] = _asks_nothing
        self._is_verifying = False
        self._placed = _Placed(name, address)
        self._talk = Turn(None if owed is None else sleep)
        self._connection = Connection(name, address, opener, settings, questions, self._timeout_s)
        self._urgent = UrgentTalk(name, self._connection, self._talk, self._timeout_s)

    @property
    def identity(self) -> str:
        """What the instrument has answered to who it is; '' where it cannot say."""
        return self._connection.identity

    # -- what the roles use ------------------------------------------------------------------------------------

    def say_hello(self) -> str:
        """Connect, and return the answer to *IDN?. This does not disturb another user of the instrument."""
        with self._talk.taken(), self._placed:
            try:
                self._connection.connect(self._interlock.check)
            except (NoAnswer, ConnectionLost, GarbledAnswer) as error:  # something is there: ask again, as usual
                _traffic.debug("%s: %s; opening another link", self.name, error)
                self._connection.connect(self._interlock.check)
        return self.identity

    def open(self) -> str:
        """Connect, if not yet connected, and return the answer to *IDN?. From now on a power cycle is noticed."""
        if not self._connection.is_open:
            self.say_hello()
        with self._talk.taken(), self._placed:
            try:
                self._connection.meet(self._interlock.check)
            except (NoAnswer, ConnectionLost, GarbledAnswer) as error:
                _traffic.debug("%s: %s; opening another link", self.name, error)
                self._connection.reopen(self._interlock.check)
        return self.identity

    @contextmanager
    def undisturbed(self) -> Iterator[None]:
        """Let no other thread's exchange come between messages that belong together; only the safe state may."""
        with self._talk.taken():
            yield

    def rest(self, seconds: float) -> None:
        """Let the instrument be quiet for so long; whoever calls this holds the session, so nobody else disturbs it.

        Only the safe state may. On a virtual clock other threads of the run go on meanwhile.
        """
        with self._talk.taken(), self._talk.resting():
            self._sleep(seconds)

    def verify_with(self, verify: Callable[[], bool]) -> None:
        """After a lost link, where the instrument cannot tell whether it was switched off and on, call `verify`: it
        asks for every setting, raises for one that has changed, and returns whether anything could be asked."""
        self._verify = verify

    def report_to(self, report: Report) -> None:
        """From now on report each exchange of the run that needs a second attempt, before that attempt."""
        self._report = report

    def command(self, text: str) -> None:
        """Send a command that has no answer."""
        self._exchange(text, self._connection.attend, self._timeout_s, is_question=False)

    def command_with_block(self, text: str) -> None:
        """As `command`, for a message that may hold a block, with a character for each byte of it."""
        self.command(WithBlock(text))

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
        return self._exchange(
            text, self._connection.read_as(text, parse), timeout_s or self._timeout_s, may_garble=True
        )

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
        return self._exchange(text, functools.partial(self._connection.read_block, headed=header), timeout_s)

    def distrust(self, text: str, reason: str) -> None:
        """Call this when an answer to `text` cannot be right: the link is cleared and verified before the next
        message."""
        with self._talk.taken():
            self._connection.is_dirty = True
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
        is emptied after. One without an error queue has nothing to enable.
        """
        enabling = self._questions.enables_errors
        if self._questions.errors is None or not enabling:
            return
        self.command(enabling)
        if errors := self.take_errors():
            _traffic.debug("%s: knows no %s: %s", self.name, enabling, errors)

    def take_errors(self) -> list[tuple[int, str]]:
        """Empty the error queue, and return what was in it, the oldest first."""
        question = self._questions.errors
        errors: list[tuple[int, str]] = []
        while question is not None and len(errors) < ERROR_QUEUE_READS:
            # The question takes the entry out of the queue, so a garbled entry is not asked for again.
            code, text = self._ask_itself(question)
            if code == 0:
                break
            errors.append((code, text))
            if not self._questions.names_errors:
                break
        return errors

    def check_power(self) -> None:
        """Check that the instrument has not been switched off and on since it was last asked, if it can say so.

        Raises:
            SettingsLost: it was.
        """
        question = self._questions.power_cycled
        if question is not None and self._ask_itself(question):
            self._connection.has_restarted = True
        self._check_settings()

    def keep_awake(self) -> None:
        """Ask a harmless question if the link sleeps by itself and has long been silent."""
        patience_s = self.settings.keep_alive_s
        if not patience_s or time.monotonic() - self._connection.last_sent_s < patience_s:
            return
        if self._questions.identify:
            self._ask_itself(Question(self._questions.identify, str))
        else:
            self.check_power()

    def _ask_itself(self, question: Question[_T]) -> _T:
        *before, last = question.messages
        with self._talk.taken():
            for message in before:
                self.command(message)
            return self._exchange(last, self._connection.read_as(last, question.take), self._timeout_s)

    def close(self) -> None:
        """Close the link."""
        self._connection.drop()

    def leave(self) -> None:
        """Give the link back and open no other: the guardian takes the instrument over, and many take one link."""
        self._connection.leave(is_left=True)

    @property
    def is_open(self) -> bool:
        """Whether there is a link."""
        return self._connection.is_open

    @property
    def has_lost_settings(self) -> bool:
        """Whether the instrument is known to have been switched off and on since it was first met."""
        return self._connection.has_restarted

    @property
    def is_settled(self) -> bool:
        """Whether the last message was answered, so that the instrument has done everything that was sent."""
        connection = self._connection
        return connection.answered == connection.sent and not connection.is_dirty

    # -- what the safe state uses ------------------------------------------------------------------------------

    def command_urgently(self, text: str) -> None:
        """Write in spite of the interlock and of another thread's waiting read; if the link is dead, on a new one."""
        with self._placed:
            self._urgent.command(text)

    def command_quietly(self, text: str) -> None:
        """Write on leaving, in spite of the interlock; where that fails, only the log of the traffic says so."""
        self._urgent.command_quietly(text)

    def ask_urgently(self, text: str) -> str:
        """Ask for a confirmation in spite of the interlock. Waits for the thread that talks now, whose read ends early.

        If an answer may still come, or the link is dead, the question is asked over a new link.
        """
        with self._placed:
            return self._urgent.ask(text)

    def look_for_power_cycle(self) -> None:
        """Ask, in spite of the interlock and on a new link, whether the instrument was switched off and on.

        Raises:
            InstrumentError: it does not answer because it is off or starting.
        """
        with self._talk.taken(), self._placed:
            self._connection.leave(is_left=False)
            self._connection.reopen(never)

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
        with self._talk.taken(), self._placed:
            began_s = self._from_when_it_may_be_asked() if is_question else 0.0
            try:
                answer = self._attempts(text, read, timeout_s, may_garble=may_garble, is_question=is_question)
            finally:
                if self._owed is not None and (owed_s := self._owed()):
                    self.rest(owed_s)
            if is_question:
                self._note_pace(began_s)
            return answer

    def _from_when_it_may_be_asked(self) -> float:
        """Wait until the instrument may be asked again; returns the time then."""
        if (early_s := self._may_ask_s - self._now()) > 0.0:
            self.rest(early_s)
        return self._now()

    def _note_pace(self, began_s: float) -> None:
        self._may_ask_s = began_s + self._ask_every_s
        self.pace.note(self._now() - began_s)

    def _attempts(
        self, text: str, read: Callable[[float, Gate], _T], timeout_s: float, *, may_garble: bool, is_question: bool
    ) -> _T:
        gate = self._interlock_and_settings
        forgiven = (LinkError, GarbledAnswer) if may_garble or not is_question else LinkError
        for _ in range(ATTEMPTS - 1):
            try:
                return self._attempt(text, read, timeout_s, gate, is_question=is_question)
            except forgiven as error:
                self._tell(text, error.message)
        return self._attempt(text, read, timeout_s, gate, is_question=is_question)

    def _tell(self, text: str, reason: str) -> None:
        _traffic.debug("%s: %s; clearing the link and asking again", self.name, reason)
        self._report(ASKED_AGAIN, instrument=self.name, message=str(text), reason=reason)

    def _interlock_and_settings(self) -> None:
        """The run sends nothing to an instrument that has lost its settings, whichever thread noticed it first."""
        self._interlock.check()
        self._check_settings()

    def _check_settings(self) -> None:
        if self._connection.has_restarted:
            raise SettingsLost("was switched off and on during the run; its settings are lost")

    def _attempt(
        self, text: str, read: Callable[[float, Gate], _T], timeout_s: float, gate: Gate, *, is_question: bool
    ) -> _T:
        connection = self._connection
        connection.make_clean(gate)
        if connection.is_doubtful and not self._is_verifying:
            self._settle_doubt()
        connection.is_dirty = True  # until the whole answer has come: the next answer may belong to this question
        connection.write(text, gate, is_question=is_question)
        answer = read(time.monotonic() + timeout_s, gate)
        connection.is_dirty = False
        return answer

    def _settle_doubt(self) -> None:
        """Find out whether an instrument that cannot say so has kept its settings while its link was lost.

        Raises:
            SettingsLost: it has not, or nothing tells.
        """
        self._is_verifying = True
        self._connection.is_doubtful = False
        try:
            has_asked = self._verify()
        except LinkError:
            self._connection.is_doubtful = True
            raise
        except (SettingChanged, SettingRefused) as error:
            self._connection.has_restarted = True
            raise SettingsLost(f"its link was lost, and since then {error.message}") from error
        finally:
            self._is_verifying = False
        if not has_asked:
            self._connection.has_restarted = True
            raise SettingsLost("its link was lost, and it can be asked nothing that tells whether it kept its settings")


class _Placed:
    """While the block lasts, an error that names no instrument gets this one's name and address."""

    def __init__(self, name: str, address: str) -> None:
        self._name = name
        self._address = address

    def __enter__(self) -> None:
        pass

    def __exit__(self, _kind: object, error: BaseException | None, _traceback: object) -> None:
        if isinstance(error, InstrumentError) and not error.instrument:
            raise type(error)(
                error.message, instrument=self._name, address=self._address, advice=error.advice
            ) from error
