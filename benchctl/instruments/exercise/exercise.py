"""Walking every word of one instrument's driver file: what all roles have in common."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.driver_file.language.steps import Way
from benchctl.instruments.exercise.findings import Verdict
from benchctl.instruments.exercise.switches import SwitchTrial
from benchctl.instruments.exercise.talk import CONFIRM, LINK, Talk
from benchctl.instruments.role import Role


@dataclass(frozen=True)
class Plan:
    """What will be done, in sentences for a person.

    Attributes:
        harmless: what energises nothing.
        energising: what switches something on; only done where a person has agreed.
    """

    harmless: tuple[str, ...]
    energising: tuple[str, ...] = ()


class Exercise(ABC):
    """One instrument.

    Args:
        talk: the words, said one by one.
        role: the instrument as a run uses it.
        file: the bench file.
        energises: whether a person has agreed to what switches something on.
    """

    def __init__(self, talk: Talk, role: Role, file: Bench, *, energises: bool) -> None:
        self.talk = talk
        self.file = file
        self._role = role
        self._energises = energises

    def run(self) -> None:
        """Walk every word; what is found is in the findings of the talk. Everything is off again afterwards.

        Raises:
            LinkError: the instrument is gone.
        """
        if not (self._meet() and self.says_off()):
            self._leave_untried("nothing was sent but questions")
            return
        if not self.make_off():
            self._leave_untried("the words before it do not work, so it would not be safe to try this")
            return
        try:
            self._put_in_mode()
            self.walk()
        finally:
            self.make_off_again()
        self._part()

    def says_off(self) -> bool:
        """Whether everything that can say so says that it is off; only questions are sent."""
        told = [switch.says_off() for switch in self.switches]  # each, even where one is on
        return all(told)

    def leave(self, why: str) -> None:
        """Try nothing, for this reason."""
        self._leave_untried(why)

    # -- what a role says --------------------------------------------------------------------------------------

    @abstractmethod
    def plan(self) -> Plan:
        """What `run` will do."""

    @abstractmethod
    def make_off(self) -> bool:
        """Switch off what says that it is off already; False ends the exercise before anything is set."""

    @abstractmethod
    def walk(self) -> None:
        """Try the words of the role."""

    @abstractmethod
    def make_off_again(self) -> None:
        """Switch off whatever may be on."""

    def left_on(self) -> tuple[str, ...]:
        """What is not known to be off now, in words."""
        return tuple(switch.what for switch in self.switches if not switch.is_off())

    @property
    def switched(self) -> tuple[str, ...]:
        """All that this exercise may have switched on, in words."""
        return tuple(switch.what for switch in self.switches)

    @property
    def switches(self) -> Sequence[SwitchTrial]:
        """The switches that a person would want to know to be off."""
        return ()

    # -- what all roles have -----------------------------------------------------------------------------------

    def _meet(self) -> bool:
        """Who it is, and whether it answers at all."""
        talk = self.talk
        if talk.has("identify"):
            if talk.ask("identify") is None:
                text = "nothing was answered at all: look at the address, and in the driver file at `link` (ends, baud)"
                talk.note("identify", Verdict.UNSUPPORTED, text, suspects=[LINK])
                talk.note(LINK, Verdict.WRONG, text)
                return False
            talk.note("identify", Verdict.WORKS)
        if waiting := talk.errors():
            talk.note("errors", Verdict.WORKS, f"its queue held {waiting[0]} from before; it is empty now")
        return True

    def _put_in_mode(self) -> None:
        talk = self.talk
        for word in ("reset", "prepare"):
            if talk.has(word) and talk.say(word, **self.any_place()):
                talk.note(word, Verdict.ACCEPTED, "no question of `confirm` asks what has become of it")
        confirmations = getattr(talk.driver, "confirm", ())
        for confirmation in confirmations:
            talk.confirm(confirmation, **self.any_place())
        if confirmations and not talk.findings.has_failed("prepare", CONFIRM):
            talk.note("prepare", Verdict.WORKS)

    def _part(self) -> None:
        talk = self.talk
        if talk.has("power_cycled") and talk.ask("power_cycled") is not None:
            talk.note("power_cycled", Verdict.WORKS)
        if talk.has("errors"):
            talk.errors()
            talk.note("errors", Verdict.WORKS)
        if talk.has("local"):
            talk.say("local")
        self._leave_untried("a word before it does not work, or this exercise has no way to try it")

    def _leave_untried(self, why: str) -> None:
        """Words of the file that nothing was said of."""
        for word in type(self.talk.driver.commands).model_fields:
            if self.talk.has(word) and word not in self.talk.findings.by_word:
                self.talk.note(word, Verdict.NOT_TRIED, why)

    def any_place(self) -> dict[str, Any]:
        """Values for words that may choose an output or channel."""
        return {}

    # -- values ------------------------------------------------------------------------------------------------

    def two(
        self, setting: str, first: float, second: float, way: Way = "nearest", most: float = math.inf
    ) -> tuple[float, float]:
        """Two different values near these that the driver file says can be set; neither is above `most`."""
        first, second = (self._settable(setting, min(value, most), way) for value in (first, second))
        if first == second:
            other = self._settable(setting, 2.001 * second, "up")
            first = other if other <= most else self._settable(setting, 0.499 * second, "down")
        return first, second

    def _settable(self, setting: str, value: float, way: Way) -> float:
        least, most = getattr(self.talk.driver, "limits", {}).get(setting, (value, value))
        steps = getattr(self.talk.driver, "steps", {}).get(setting)
        value = min(max(value, least), most)
        return value if steps is None else float(steps.rounded(value, way))

    def half_step(self, setting: str, value: float) -> float:
        """How far a read-back may be off by the steps of a setting."""
        steps = getattr(self.talk.driver, "steps", {}).get(setting)
        return 0.0 if steps is None else float(steps.half_step(value))

    def accepted(self, *words: str, **values: Any) -> None:
        """Say words that nothing reads back."""
        for word in words:
            if self.talk.has(word) and self.talk.say(word, **values):
                self.talk.note(word, Verdict.ACCEPTED, "there is nothing to confirm it with")

    def not_energised(self, *words: str) -> None:
        """Words that switch something on, where nobody has agreed to that."""
        for word in words:
            if self.talk.has(word):
                self.talk.note(word, Verdict.NOT_TRIED, "it would switch something on, and nobody has agreed to that")


def differ(found: Sequence[tuple[str, float]], wanted: Sequence[float], tolerance: float) -> str:
    """In words, which of several places does not have its own value; '' if all do."""
    wrong = [
        f"{place} reads back {got:g} where {value:g} was set"
        for (place, got), value in zip(found, wanted, strict=True)
        if abs(got - value) > tolerance
    ]
    return "; ".join(wrong)
