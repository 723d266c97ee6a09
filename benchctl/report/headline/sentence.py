"""What a headline consists of: clauses, and in each the numbers with the figures that they come from.

Whoever shows it takes the whole sentence (`str`), or its parts: a frame shows `value` large, `rest` beside it and the
`clauses` below. `mark`, `ending` and what is said of verdicts must never be left out where the rest is shown.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from benchctl.measure.budget.figure import Figure
from benchctl.measure.conditions import Conditions

Kind = Literal["power", "rating", "burst", "held", "protected", "finding", "nothing", "fails", "untold", "unseen"]
Look = Literal["", "passes", "fails", "untold"]


@dataclass(frozen=True)
class Number:
    """A number as it is shown, and its figure; of a share of the rating, also what it is a share of."""

    text: str
    figure: Figure
    whole: float | None = None


@dataclass(frozen=True)
class Clause:
    """A part of the sentence; `look` as of a verdict."""

    kind: Kind
    text: str
    numbers: tuple[Number, ...] = ()
    look: Look = ""


@dataclass(frozen=True)
class Headline:
    """`lead` says what was found, `clauses` what belongs to it. `mark` is empty for a measurement, `ending` for a run
    that came to its end and left the bench safe. `conditions` are those of the lead's figure, where it has one."""

    lead: Clause
    clauses: tuple[Clause, ...] = ()
    mark: str = ""
    ending: str = ""
    conditions: Conditions | None = None

    @property
    def value(self) -> str:
        """The number that it leads with, as in `159 W`; empty where there is none."""
        return self.lead.numbers[0].text if self.lead.numbers else ""

    @property
    def rest(self) -> str:
        """The lead without that number."""
        return self.lead.text.replace(self.value, "", 1).strip() if self.value else self.lead.text

    @property
    def numbers(self) -> tuple[Number, ...]:
        """Every number of a figure in the sentence."""
        return tuple(number for clause in (self.lead, *self.clauses) for number in clause.numbers)

    def __str__(self) -> str:
        """The sentence, without a full stop."""
        return "".join(text for text, _ in self.parts)

    @property
    def parts(self) -> tuple[tuple[str, Look], ...]:
        """The sentence in pieces, each with its look."""
        pieces = [*self._beginning(), *self._rest()]
        if self.mark:
            return ((f"{self.mark}: ", "untold"), *pieces)
        (first, look), *others = pieces
        return ((first[:1].upper() + first[1:], look), *others)

    def _beginning(self) -> list[tuple[str, Look]]:
        if not self.ending:
            return [(self.lead.text, self.lead.look)]
        if self.lead.kind == "nothing":
            return [(self.ending, "fails"), (" before any figure was measured", "")]
        return [(self.ending, "fails"), (f" after {self.lead.text}", self.lead.look)]

    def _rest(self) -> list[tuple[str, Look]]:
        """The share of the rating belongs to the power before it; whatever else stands behind semicolons."""
        rated = [clause for clause in self.clauses if clause.kind == "rating"]
        others = [clause for clause in self.clauses if clause.kind != "rating"]
        pieces: list[tuple[str, Look]] = []
        for between, clauses in ((": ", rated), ("; ", others)):
            for clause in clauses:
                pieces += [(between, ""), (clause.text, clause.look)]
        return pieces
