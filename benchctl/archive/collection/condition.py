"""A condition on a figure as a person types it: `continuous_power at 2 ohm above 250 W`.

::

    condition = FIGURE { place } RELATION QUANTITY
    place     = "at" QUANTITY        load in ohm, frequency in Hz, supply voltage in V
              | "on" CHANNEL         the amplifier's, or total; without it, any channel, but never their total
              | "of" NUMBER "cycles" length of the burst
    RELATION  = "above" | "below" | "within" | "outside"

Relations and quantities are those of a sequence's criteria.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from benchctl.archive.collection.figure_rows import FigureRow, FigureTable
from benchctl.documents.model.criteria import RELATIONS, Criterion, criterion_of
from benchctl.documents.model.figures import FIGURES
from benchctl.documents.text.words import nearest, unknown
from benchctl.errors import DocumentError, Problem, quote
from benchctl.measure.budget.power import TOTAL
from benchctl.quantity import QuantityError, parse_quantity

# What stands before the column in a message.
CALLED = "condition"
EXAMPLE = "continuous_power at 2 ohm above 250 W"

_PLACES = ("at", "on", "of")
_WORDS = (*_PLACES, *RELATIONS)
# Unit of a place -> the column of the figures that it is about, and what that is.
_COLUMNS: Mapping[str, tuple[str, str]] = {
    "ohm": ("load_ohm", "load"),
    "Hz": ("frequency_hz", "frequency"),
    "V": ("supply_set_v", "supply voltage"),
}
# 2.0 ohm and 2 ohm are one load; 997 Hz and 1 kHz are two frequencies.
_SAME = 1e-3


@dataclass(frozen=True)
class FigureCondition:
    """`places`: the value of each column that was asked for; `channel` and `burst_cycles` where they were."""

    figure: str
    criterion: Criterion
    places: Mapping[str, float] = field(default_factory=dict)
    channel: str = ""
    burst_cycles: int | None = None

    def concerned(self, figures: FigureTable) -> Iterator[FigureRow]:
        """Those of a run's figures that are asked for, and were taken there."""
        cycles = "" if self.burst_cycles is None else str(self.burst_cycles)
        places = [(figures.column(column), value) for column, value in self.places.items()]
        bursts, channels = figures.column("burst_cycles"), figures.column("channel")
        for number, name in enumerate(figures.column("figure")):
            if name != self.figure or not self._is_on(channels[number]) or (cycles and bursts[number] != cycles):
                continue
            if all(_is_at(cells[number], value) for cells, value in places):
                yield figures[number]

    def _is_on(self, channel: str) -> bool:
        """Two channels of 130 W are no channel of 250 W."""
        return channel.lower() == self.channel.lower() if self.channel else channel != TOTAL


def _is_at(cell: str, value: float) -> bool:
    return bool(cell) and math.isclose(float(cell), value, rel_tol=_SAME)


class _Word(NamedTuple):
    text: str
    column: int


def parse_condition(text: str) -> FigureCondition:
    """Read a condition.

    Raises:
        DocumentError: it is none; the problem says at which column, and what would be right.
    """
    reading = _Reading(text, [_Word(found[0], found.start() + 1) for found in re.finditer(r"\S+", text)])
    return reading.condition()


@dataclass
class _Reading:
    text: str
    words: Sequence[_Word]
    place: int = 0

    def condition(self) -> FigureCondition:
        name = self._next(f"the name of a figure belongs here; write for example '{EXAMPLE}'")
        if name.text not in FIGURES:
            raise self._problem(unknown(name.text, FIGURES, "figure"), name.column)
        asked = FigureCondition(name.text, Criterion(relation="above", bound=0.0, unit=""))
        while (word := self._next(f"{_ahead(name.text)}; write for example '{EXAMPLE}'")).text not in RELATIONS:
            asked = self._with_place(asked, word)
        return replace(asked, criterion=self._criterion(name.text, word))

    def _with_place(self, asked: FigureCondition, word: _Word) -> FigureCondition:
        match word.text:
            case "at":
                return self._at(asked, word)
            case "on":
                channel = self._operand(word, "the channel, such as A or total").text
                return replace(asked, channel=channel)
            case "of":
                return replace(asked, burst_cycles=self._cycles(word))
            case _:
                near = nearest(word.text, _WORDS)
                meant = f"; did you mean '{near}'?" if near else ""
                raise self._problem(
                    f"{quote(word.text)} is not expected here; {_ahead(asked.figure)}{meant}", word.column
                )

    def _at(self, asked: FigureCondition, word: _Word) -> FigureCondition:
        """A load, a frequency or a supply voltage: its unit tells which."""
        operand = self._operand(word, "a load, a frequency or a supply voltage, such as 2 ohm, 1 kHz or 14.4 V")
        for unit, (column, what) in _COLUMNS.items():
            try:
                value = parse_quantity(operand.text, unit)
            except QuantityError:
                continue
            if column in asked.places:
                raise self._problem(f"a second {what} is given; ask for one", operand.column)
            return replace(asked, places={**asked.places, column: value})
        raise self._problem(
            f"{quote(operand.text)} is no load in ohm, no frequency in Hz and no supply voltage in V; write for "
            "example 2 ohm, 1 kHz or 14.4 V",
            operand.column,
        )

    def _cycles(self, word: _Word) -> int:
        operand = self._operand(word, "the length of a burst, such as 8 cycles")
        found = re.fullmatch(r"([0-9]{1,6}) cycles?", operand.text)
        if found is None:
            raise self._problem(
                f"{quote(operand.text)} is no length of a burst; write for example 'of 8 cycles'", operand.column
            )
        return int(found[1])

    def _criterion(self, figure: str, relation: _Word) -> Criterion:
        try:
            return criterion_of(figure, self.text[relation.column - 1 :])
        except ValueError as error:
            column = self.words[self.place].column if self.place < len(self.words) else len(self.text) + 1
            raise self._problem(str(error), column) from None

    def _operand(self, word: _Word, what: str) -> _Word:
        """What follows a word, as it was typed."""
        first = self._next(f"{what} belongs behind '{word.text}'")
        if first.text in _WORDS:
            raise self._problem(f"{what} belongs here, behind '{word.text}'", first.column)
        last = first
        while self._goes_on(last, is_quantity=word.text != "on"):
            last = self._next("")
        return _Word(self.text[first.column - 1 : last.column - 1 + len(last.text)], first.column)

    def _goes_on(self, last: _Word, *, is_quantity: bool) -> bool:
        """Whether the next word belongs to the last one: a unit to its number, a second word to a channel's name."""
        if self.place == len(self.words) or self.words[self.place].text in _WORDS:
            return False
        return not is_quantity or last.text[-1].isdecimal()

    def _next(self, expected: str) -> _Word:
        if self.place == len(self.words):
            raise self._problem(expected, len(self.text) + 1)
        self.place += 1
        return self.words[self.place - 1]

    def _problem(self, message: str, column: int) -> DocumentError:
        return DocumentError([Problem(CALLED, 1, column, message, self.text)])


def _ahead(figure: str) -> str:
    """What may follow a figure."""
    return f"at, on or of belongs behind {figure}, and then above, below, within or outside and the bound"
