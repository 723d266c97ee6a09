"""Tables as a page shows them: plain data, escaped by whoever prints it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from benchctl.documents.model.figures import figure_in_words
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.words import value_in_words
from benchctl.measure.uncertainty import COVERAGE_FACTOR

_WORTH_A_WORD = 2.05  # a factor that does not round to 2.0


@dataclass(frozen=True)
class Cell:
    """`look` is one of '', 'number', 'code', 'passes', 'fails', 'untold'; `exact` a machine's form of the text; `name`
    the name that programs know a figure by."""

    text: str = ""
    look: str = ""
    exact: str = ""
    note: str = ""
    name: str = ""

    def __bool__(self) -> bool:
        return bool(self.text or self.note)


@dataclass(frozen=True)
class Head:
    """A column's head; those of numbers stand to the right."""

    text: str
    is_number: bool = False


@dataclass(frozen=True)
class Table:
    """Rows under heads; the first `named` cells of a row are its heads."""

    caption: str
    heads: tuple[Head, ...]
    rows: tuple[tuple[Cell, ...], ...]
    named: int = 1
    note: str = ""

    def without_empty_columns(self) -> Table:
        """The same without columns in which no row has anything."""
        kept = [place for place in range(len(self.heads)) if any(row[place] for row in self.rows)]
        return replace(
            self,
            heads=tuple(self.heads[place] for place in kept),
            rows=tuple(tuple(row[place] for place in kept) for row in self.rows),
            named=sum(place < self.named for place in kept),
        )


def heads(*texts: str, numbers: Sequence[str] = ()) -> tuple[Head, ...]:
    """Heads of words, then those of numbers."""
    return (*(Head(text) for text in texts), *(Head(text, is_number=True) for text in numbers))


def coverage_in_words(figures: Iterable[Figure]) -> str:
    """What stands behind ± in a table of these figures."""
    uncertain = [figure for figure in figures if figure.coverage_factor is not None]
    if not uncertain:
        return ""
    unless = "; k stands beside it where few readings were taken" if any(map(factor_in_words, uncertain)) else ""
    return f"±: expanded uncertainty, 95 %{unless}"


def factor_in_words(figure: Figure) -> str:
    """The coverage factor of a figure whose uncertainty was seen in few readings; nothing where it is 2 or less."""
    factor = figure.coverage_factor or COVERAGE_FACTOR
    return f"k = {factor:.1f}" if factor >= _WORTH_A_WORD else ""


def step_in_short(label: str) -> str:
    """The number of a step, and which turn of a sweep or repeat it is of: what tells it from every other."""
    number, _, kind_and_turn = label.partition(" ")
    _, bracket, turn = kind_and_turn.partition("[")
    return f"{number} {bracket}{turn}".rstrip()


_LOOKS = {"passes": "passes", "fails": "fails", "inconclusive": "untold"}


def look_of(verdict: str) -> str:
    """How a verdict is shown; its word stands beside it all the same."""
    return _LOOKS.get(verdict, "")


def name_cell(figure: Figure, note: str = "") -> Cell:
    """What people call a figure; its name in figures.csv stands behind."""
    return Cell(figure_in_words(figure.name), name=figure.name, note=note)


def said_cell(figure: Figure, text: str) -> Cell:
    """A value in words that were chosen before, with all else that a cell of a figure has."""
    said = " ".join(filter(None, [text, factor_in_words(figure)]))
    return Cell(said, look_of(figure.verdict) or "number", repr(figure.value), figure.verdict)


def value_cell(figure: Figure) -> Cell:
    """A figure's value as its uncertainty supports it, its verdict, and its exact value for a machine."""
    said = " ".join(filter(None, [value_in_words(figure), factor_in_words(figure)]))
    return Cell(said, look_of(figure.verdict) or "number", repr(figure.value), figure.verdict)
