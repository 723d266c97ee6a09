"""Carries out one part of the safe state in a thread of its own: send the command, ask, check the current, and repeat.

An instrument that does not answer therefore delays no other instrument. Nothing here waits longer than its wire does.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from typing import Protocol

from benchctl.errors import BenchctlError
from benchctl.guard.confirmation import Confirmation
from benchctl.instruments.safe_part import NO_QUESTION, TOLD_ONLY, SafePart

# The parts are started in order, but one part waits only this long for another. On a working link a command takes a
# millisecond; one that takes longer may be waiting for an instrument that never answers.
STEP_ASIDE_S = 0.1
# In a dry run every message is answered at once, or it is known that no answer comes. A busy computer must not change
# the order.
DRY_PATIENCE_S = 30.0
# When an output is switched off, its current falls within milliseconds, unless the supply reduces its voltage slowly.
# The current is checked this often, for one second in all, before the command is sent again.
LOOK_EVERY_S = 0.1
LOOKS = 10


class Wire(Protocol):
    """Sends to one instrument at once, whatever other exchange is under way."""

    def command_urgently(self, text: str) -> None:
        """Send one message."""

    def ask_urgently(self, text: str) -> str:
        """Send one question and return its answer."""


class Crew:
    """Carries out one part.

    Args:
        part: what is to be done.
        wire: reaches its instrument.
        turn: shared by all parts of one instrument. A part may send several messages, the first of which selects an
            output; no other part may select another output in between.
        is_over: whether nobody waits for the confirmation any more.
        attempts: how often an instrument that does not confirm is told and asked.
        is_paced: True in a dry run: time passes only when `go_on` is called. Otherwise it is real time.
    """

    def __init__(  # noqa: PLR0917 - what a part needs
        self,
        part: SafePart,
        wire: Wire,
        turn: threading.Lock,
        is_over: Callable[[], bool],
        attempts: int,
        is_paced: bool,
    ) -> None:
        self._part = part
        self._wire = wire
        self._turn = turn
        self._is_over = is_over
        self._attempts = attempts
        self._is_paced = is_paced
        self._trouble = "not waited for"
        self._failed_to_say = ""
        self._confirmed = False
        self._may_look_again = threading.Event()
        self.siblings: Sequence[Crew] = ()  # the other parts of the same instrument
        self.commanded = threading.Event()
        self.may_ask = threading.Event()
        self.was_answered = threading.Event()  # so that the next part may ask
        self.rests = threading.Event()  # it waits for a current to fall
        self.finished = threading.Event()

    @property
    def instrument(self) -> str:
        """Whose part it is."""
        return self._part.instrument

    @property
    def confirmation(self) -> Confirmation:
        """What the part has come to so far."""
        detail = "" if self._confirmed and self._part.question else self._trouble
        return Confirmation(self._part.instrument, self._part.what, self._confirmed, detail)

    def start(self) -> None:
        """Begin, in a thread of its own if one can be started."""
        try:
            threading.Thread(target=self._work, name=f"safe state: {self._part.instrument}", daemon=True).start()
        except RuntimeError:  # out of threads, or the interpreter is on its way out: one part after the other then
            self._is_paced = False
            self.may_ask.set()
            self._work()

    def go_on(self) -> None:
        """Some time has passed: check the current again. Returns when that is done, or when the wire does not
        answer.
        """
        self.was_answered.clear()
        self.rests.clear()
        self._may_look_again.set()
        self.was_answered.wait(DRY_PATIENCE_S)

    def _work(self) -> None:
        try:
            self._failed_to_say = self._command()
            self._trouble = self._failed_to_say or "no answer yet"
            self.commanded.set()
            self.may_ask.wait()
            for sibling in self.siblings:  # no question about one output holds up the command for another
                sibling.commanded.wait(STEP_ASIDE_S)
            self._confirm()
        finally:
            self.finished.set()
            self.was_answered.set()

    def _confirm(self) -> None:
        """Ask for confirmation. If it is refused, send the commands and ask again."""
        if not self._part.question:
            self._confirmed = not self._part.must_confirm and not self._failed_to_say
            self._trouble = TOLD_ONLY if self._confirmed else self._failed_to_say or NO_QUESTION
            return
        if self._part.settle_s and not self._is_paced:
            time.sleep(self._part.settle_s)
        for attempt in range(self._attempts):
            if self._is_over():
                return
            if attempt:
                self._trouble = self._command() or self._trouble
            refusal = self._refusal()
            if not refusal:
                self._confirmed = True
                return
            self._trouble = refusal

    def _refusal(self) -> str:
        """Why the part may not be off, or an empty text. The instrument's answer is checked first, then its current."""
        return self._ask(self._part.question, self._part.refusal) or self._refusal_by_reading()

    def _refusal_by_reading(self) -> str:
        reading = self._part.reading
        if reading is None:
            return ""
        for look in range(LOOKS):
            if look and not self._let_time_pass():
                break
            refusal = self._ask(reading.question, reading.refusal)
            if not refusal:
                return ""
            self._trouble = refusal
        return self._trouble

    def _let_time_pass(self) -> bool:
        """Wait until the next check is due. Returns whether anybody still waits for this part."""
        if not self._is_paced:
            time.sleep(LOOK_EVERY_S)
            return not self._is_over()
        self._may_look_again.clear()
        self.rests.set()
        self.was_answered.set()
        self._may_look_again.wait()
        return not self._is_over()

    def _command(self) -> str:
        """Send the commands. Returns what went wrong, or an empty text."""
        try:
            with self._turn:
                for message in self._part.commands:
                    self._wire.command_urgently(message)
        except Exception as error:  # noqa: BLE001 - not even an error in the program may keep the other parts waiting
            return _what(error)
        return ""

    def _ask(self, messages: Sequence[str], refusal: Callable[[str], str]) -> str:
        """Ask. Returns why the part may not be off, or an empty text."""
        *before, question = messages
        try:
            with self._turn:
                for message in before:
                    self._wire.command_urgently(message)
                answer = self._wire.ask_urgently(question)
        except Exception as error:  # noqa: BLE001 - what cannot be confirmed is said, whatever the cause
            return _what(error)
        return refusal(answer)


def _what(error: Exception) -> str:
    return error.message if isinstance(error, BenchctlError) else f"error in the program: {error!r}"
