"""Runs with a figure that meets a condition, and those of which that is not known.

A figure is held against the condition as against a criterion of a sequence: it meets it only if all of value ± U does.
Where the interval or the bound leaves it open, or instruments contradict each other, the run is not found; it is told
apart as undecided.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchctl.archive.collection.condition import FigureCondition
from benchctl.archive.collection.figure_rows import NO_FIGURES, FigureRow, FigureTable
from benchctl.archive.collection.summary import RunSummary
from benchctl.archive.held_against import held_against
from benchctl.measure.budget.figure import Figure


@dataclass(frozen=True)
class Match:
    """A run, and those of its figures that made it found, each with the row that has its conditions.

    `asked`: how many figures of the run the condition is about.
    """

    run: RunSummary
    figures: Sequence[tuple[Figure, FigureRow]]
    asked: int


@dataclass(frozen=True)
class Matches:
    """`met`: runs that meet the condition. `undecided`: those of which that is not known. In the order as given."""

    met: tuple[Match, ...]
    undecided: tuple[Match, ...] = ()


def found_among(
    runs: Iterable[RunSummary],
    figures: Mapping[Path, FigureTable],
    condition: FigureCondition,
    *,
    every: bool = False,
) -> Matches:
    """The runs that meet the condition with at least one figure, or with each that it is about; and the undecided ones.

    Args:
        runs: to look among.
        figures: of each run folder, all of the condition's name.
        condition: what is asked for.
        every: one figure that does not meet the condition is enough for a run not to be found.
    """
    met: list[Match] = []
    undecided: list[Match] = []
    for run in runs:
        judged = list(_judged(figures.get(run.folder, NO_FIGURES), condition))
        passed, failed, unknown = (
            [each for each in judged if each[0].verdict == verdict] for verdict in ("passes", "fails", "inconclusive")
        )
        if every and failed:
            continue
        if passed and not (every and unknown):
            met.append(Match(run, passed, len(judged)))
        elif unknown:
            undecided.append(Match(run, unknown, len(judged)))
    return Matches(tuple(met), tuple(undecided))


def _judged(figures: FigureTable, condition: FigureCondition) -> Iterator[tuple[Figure, FigureRow]]:
    for row in condition.concerned(figures):
        if (row.unit or "1") == (condition.criterion.unit or "1"):
            yield held_against(figure_of_row(row), condition.criterion), row


def figure_of_row(row: FigureRow) -> Figure:
    """The figure that a row tells of."""
    bound: Any = row.bound
    return Figure(
        name=row.figure,
        value=row.value,
        unit=row.unit,
        expanded_uncertainty=row.expanded_uncertainty,
        coverage_factor=row.coverage_factor,
        channel=row.channel,
        burst_cycles=row.burst_cycles,
        bound=bound,
        load_ohm=row.load_ohm,
        frequency_hz=row.frequency_hz,
        contradiction=row.contradiction,
    )
