"""The budget of figures of a run: what each one's uncertainty is made of, computed again from the captures."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import FiguresEntry, entries_of
from benchctl.archive.journal.journal import read_journal
from benchctl.archive.recomputing import NOT_COMPUTED, Captures, compute
from benchctl.measure.budget.contributions import Contribution, contributions
from benchctl.measure.budget.figure import Figure, Made, keeping_values, value_of
from benchctl.measure.conditions import Conditions


@dataclass(frozen=True)
class Asked:
    """Which figures are meant: by name, and by channel, length of the bursts and a part of the step's name if given."""

    name: str
    channel: str = ""
    cycles: int | None = None
    step: str = ""

    def means(self, entry: FiguresEntry, figure: Figure) -> bool:
        """Whether this is one of them."""
        return (
            figure.name == self.name
            and self.channel in {"", figure.channel}
            and self.cycles in {None, figure.burst_cycles}
            and self.step in entry.step
        )


@dataclass(frozen=True)
class FigureBudget:
    """A figure with its conditions, and its contributions, largest first; `why_not`: why there are none."""

    step: str
    conditions: Conditions
    figure: Figure
    parts: tuple[Contribution, ...] = ()
    why_not: str = ""


def budgets_of(path: Path, asked: Asked) -> list[FigureBudget]:
    """The budget of every figure that is meant, in the order of the journal.

    Raises:
        UsageError: there is no run folder at `path`.
        ArchiveError: its journal is broken.
    """
    folder = RunFolder.open(path)
    entries = entries_of(read_journal(folder.journal).events)
    return [budget for entry in entries for budget in _of_entry(folder, entry, asked)]


def names_in(path: Path) -> list[str]:
    """The names of the figures that a run has."""
    entries = entries_of(read_journal(RunFolder.open(path).journal).events)
    return sorted({figure.name for entry in entries for figure in entry.figures})


def _of_entry(folder: RunFolder, entry: FiguresEntry, asked: Asked) -> Iterator[FigureBudget]:
    if not any(asked.means(entry, figure) for figure in entry.figures):
        return
    captures = Captures.load(folder, entry)
    try:
        with keeping_values() as made:
            figures = compute(entry, captures.by_role)
    except NOT_COMPUTED as error:
        for figure in (each for each in entry.figures if asked.means(entry, each)):
            yield FigureBudget(
                entry.step, entry.conditions_of(figure), figure, why_not=f"it cannot be computed: {error}"
            )
        return
    for figure in figures:
        if asked.means(entry, figure):
            yield _budget(entry, figure, made)


def _budget(entry: FiguresEntry, figure: Figure, made: list[Made]) -> FigureBudget:
    conditions = entry.conditions_of(figure)
    if figure.expanded_uncertainty is None:
        return FigureBudget(entry.step, conditions, figure, why_not="it is a bound, and has no uncertainty")
    value = value_of(figure, made)
    if value is None:
        return FigureBudget(entry.step, conditions, figure, why_not="its uncertainty is computed as a whole")
    return FigureBudget(entry.step, conditions, figure, tuple(contributions(value)))
