"""One setting: it is set to two values, and each is read back."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.templates import Value
from benchctl.errors import quote
from benchctl.instruments.exercise.findings import Verdict
from benchctl.instruments.exercise.suggest import number_form, other_spelling, written
from benchctl.instruments.exercise.talk import ANSWERS, Talk
from benchctl.quantity import render
from benchctl.scpi.errors import FormatError

# Read-backs nearer than this are the same.
_SAME = 1e-3


@dataclass(frozen=True)
class SettingTrial:
    """What is set, how it is read back, and to what.

    Attributes:
        sets, gets: the words.
        value: the name of the value in `sets`.
        unit: its base unit.
        tries: two values, harmless ones.
        tolerance: how far the read-back of a value may be off.
        values: the other values of both words, such as the output's number.
        sent_as: what `sets` is given for a value; the value by its name, unless given.
    """

    sets: str
    gets: str
    value: str
    unit: str
    tries: tuple[float, float]
    tolerance: Callable[[float], float]
    values: Mapping[str, Value] = field(default_factory=dict)
    sent_as: Callable[[float], Mapping[str, Value]] | None = None

    def run(self, talk: Talk) -> bool:
        """Try it; whether the instrument is known, or must be believed, to have taken the setting."""
        heard: list[tuple[str, float]] = []
        for wanted in self.tries:
            sent = {self.value: wanted} if self.sent_as is None else self.sent_as(wanted)
            if not talk.say(self.sets, **sent, **self.values):
                return False
            if talk.has(self.gets):
                answer = talk.ask(self.gets, **self.values)
                if answer is None:
                    talk.note(self.sets, Verdict.ACCEPTED, f"'{self.gets}' does not work, so it is not read back")
                    return False
                heard.append((answer, wanted))
        if not heard:
            talk.note(self.sets, Verdict.ACCEPTED, "there is nothing to read it back with")
            return True
        return self._judge(talk, heard)

    def _judge(self, talk: Talk, heard: list[tuple[str, float]]) -> bool:
        query: Query = talk.words(self.gets)
        try:
            got = [query.form_for(**self.values).number(answer) for answer, _ in heard]
        except FormatError as error:
            self._blame_answer(talk, heard, str(error))
            return False
        if all(self._agrees(each, wanted) for each, wanted in zip(got, self.tries, strict=True)):
            talk.note(self.sets, Verdict.WORKS)
            talk.note(self.gets, Verdict.WORKS)
            return True
        self._blame_values(talk, heard, got)
        return False

    def _agrees(self, got: float, wanted: float) -> bool:
        return abs(got - wanted) <= self.tolerance(wanted)

    def _blame_answer(self, talk: Talk, heard: list[tuple[str, float]], text: str) -> None:
        talk.note(self.gets, Verdict.WRONG, text, offer=self._answer_offer(talk, heard), suspects=[ANSWERS])
        talk.note(self.sets, Verdict.ACCEPTED, f"'{self.gets}' does not work, so it is not read back")

    def _blame_values(self, talk: Talk, heard: list[tuple[str, float]], got: list[float]) -> None:
        """Which of the two words is wrong cannot be told from the two alone, so both are named."""
        was = " and ".join(render(wanted, self.unit) for wanted in self.tries)
        told = " and ".join(
            f"{render(each, self.unit)} ({quote(text)})" for each, (text, _) in zip(got, heard, strict=True)
        )
        offers = [offer for offer in (self._answer_offer(talk, heard), self._sent_offer(talk, got)) if offer]
        if _is_same(got[0], got[1]):
            text = f"reads back {render(got[0], self.unit)} whatever is set ({was})"
        else:
            text = f"set to {was}, reads back {told}"
        talk.note(self.gets, Verdict.WRONG, text, offer=" or ".join(offers), suspects=[self.sets])
        talk.note(self.sets, Verdict.WRONG, text, offer=" or ".join(offers), suspects=[self.gets])

    def _answer_offer(self, talk: Talk, heard: list[tuple[str, float]]) -> str:
        query: Query = talk.words(self.gets)
        form = number_form(query, heard, self._agrees)
        return "" if form is None else f"write `{written(self.gets, query, form)}`"

    def _sent_offer(self, talk: Talk, got: list[float]) -> str:
        """If what was sent is wrong by a constant factor that a unit would explain."""
        ratios = [wanted / each if each else 0.0 for each, wanted in zip(got, self.tries, strict=True)]
        if not math.isclose(ratios[0], ratios[1], rel_tol=0.02):
            return ""
        name = other_spelling(talk.words(self.sets), self.value, ratios[0])
        return f"write `{{{name}}}` in {self.sets}" if name else ""


def _is_same(one: float, other: float) -> bool:
    return math.isclose(one, other, rel_tol=_SAME, abs_tol=1e-12)
