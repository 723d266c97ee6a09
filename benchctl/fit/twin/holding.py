"""Measured figures held against what the twin lets expect: each with both uncertainties, and what that tells in words.

A figure departs if it is further off than both uncertainties, one added to the other, explain. That is wider than their
root of squares, as a run holds many figures against it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from benchctl.documents.model.figures import figure_in_words
from benchctl.fit.prediction.asked import Predicted
from benchctl.fit.twin.expecting import Refused, Twin
from benchctl.fit.twin.surroundings import Surroundings, surroundings_of
from benchctl.measure.agreement.comparison import Comparison
from benchctl.measure.agreement.reliance import OUTPUT_VOLTAGE
from benchctl.measure.analyses.context import BurstContext, ContinuousContext, IdleContext
from benchctl.measure.analyses.look_context import LookContext
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.words import as_said, burst_in_words, unit_in_words, value_in_words
from benchctl.measure.conditions import Conditions
from benchctl.measure.uncertainty import COVERAGE_FACTOR, ErrorOf

LOWEST_GAIN_HZ, HIGHEST_GAIN_HZ = 500.0, 2e3
"""Between them no filter of a full-range amplifier takes part in its gain."""


@dataclass(frozen=True)
class Held:
    """A figure as it was measured, and as it was predicted."""

    measured: Figure
    predicted: Predicted

    @property
    def difference(self) -> float:
        """Measured less predicted."""
        return self.measured.value - self.predicted.value

    @property
    def explained(self) -> float:
        """By how much both uncertainties together let them differ."""
        return self.predicted.expanded_uncertainty + (self.measured.expanded_uncertainty or 0.0)

    @property
    def agrees(self) -> bool:
        """Whether no more than that lies between them."""
        return abs(self.difference) <= self.explained

    def __str__(self) -> str:
        """What was measured and predicted and, where they differ, by how much."""
        unit = unit_in_words(self.measured)
        measured, predicted = (value_in_words(each) for each in (self.measured, self.predicted.figure))
        said = f"{self.what}: {measured} {unit} measured, {predicted} {unit} predicted"
        return said if self.agrees else f"{said}; {self.apart}"

    @property
    def what(self) -> str:
        """The figure by name, with its burst and its channel."""
        cycles = self.measured.burst_cycles
        parts = (burst_in_words(cycles) if cycles else "", self.measured.channel)
        return ", ".join((figure_in_words(self.measured.name), *filter(None, parts)))

    @property
    def apart(self) -> str:
        """The difference, and what would be no surprise."""
        measured, predicted = (as_said(each)[0] for each in (self.measured, self.predicted.figure))
        unit = unit_in_words(self.measured)
        unit = "percentage points" if unit == "%" else unit
        more = "more" if measured > predicted else "less"
        explained = self.explained * abs(measured - predicted) / abs(self.difference)
        off = f"{abs(measured - predicted):.3g} {unit} {more}"
        return f"{off}, and both uncertainties together explain {explained:.2g} {unit}"


@dataclass(frozen=True)
class HeldRows:
    """All of one analysis; `not_predicted`: why some are missing."""

    rows: tuple[Held, ...] = ()
    not_predicted: tuple[str, ...] = ()


@dataclass(frozen=True)
class Analysed:
    """What an analysis has found, and under what; `read_v`: the supply's own reading of its voltage."""

    analysis: str
    context: Any
    conditions: Conditions
    figures: Sequence[Figure]
    comparisons: Sequence[Comparison]
    read_v: float | None


def held(twin: Twin, found: Analysed, *, with_gains: bool) -> HeldRows:
    """Each figure that the twin predicts; `with_gains`: nobody has turned the amplifier's controls."""
    context = found.context
    names = {figure.name for figure in found.figures}
    if not isinstance(context, IdleContext):
        return HeldRows()
    at = surroundings_of(found.conditions, context, found.read_v, sees_terminals="supply_voltage" in names)
    if at is None:
        return HeldRows()
    rows = list(_gains(twin, found)) if with_gains else []
    refused: list[str] = []
    for expected in _expected(twin, found, at):
        if isinstance(expected, Refused):
            refused += expected.reasons
        else:
            rows += _beside(expected, found.figures)
    return HeldRows(tuple(rows), tuple(dict.fromkeys(refused)))


def _expected(twin: Twin, found: Analysed, at: Surroundings) -> Iterator[tuple[Predicted, ...] | Refused]:
    context, names = found.context, {figure.name for figure in found.figures}
    if found.analysis == "idle":
        yield twin.idle(at)
    elif found.analysis == "continuous" and found.conditions.drive == "clean":
        yield twin.clean_tone(at)
    elif isinstance(context, BurstContext) and not context.phase_is_free:
        if "burst_power_clean" in names:
            yield twin.clean_burst(at, context.cycles, context.low_level_ratio)
        if "droop" in names:
            yield twin.full_droop(at, context.cycles, context.low_level_ratio)


def _beside(expected: Sequence[Predicted], figures: Sequence[Figure]) -> Iterator[Held]:
    for predicted in expected:
        for figure in figures:
            alike = (figure.name, figure.channel) == (predicted.name, predicted.channel)
            if alike and not figure.bound and not figure.contradiction and figure.expanded_uncertainty:
                yield Held(figure, predicted)


def _gains(twin: Twin, found: Analysed) -> Iterator[Held]:
    """Of a look at a low level, or of a tone at its clean level."""
    at = surroundings_of(found.conditions, found.context, found.read_v, sees_terminals=True)
    context = found.context
    level_v = context.level_v if isinstance(context, LookContext) else found.conditions.level_v
    if at is None or level_v is None or not _is_plain(found):
        return
    if isinstance(context, LookContext) and context.driven:
        at = replace(at, driven=context.driven)
    error = ErrorOf(context.level_accuracy).on(level_v)
    relative_u = COVERAGE_FACTOR * float(error.std_dev) / level_v
    is_clean = found.analysis == "continuous"
    seen = dict(_seen_at_clean(found) if is_clean else _seen_in_look(found))
    for predicted in twin.gains(at, at_clean_level=is_clean):
        if predicted.channel in seen:
            value, u = (each / level_v for each in seen[predicted.channel])
            whole_u = (u**2 + (value * relative_u) ** 2) ** 0.5
            yield Held(Figure("gain", value, "1", whole_u, COVERAGE_FACTOR, predicted.channel), predicted)


def _is_plain(found: Analysed) -> bool:
    """One tone, where no filter counts, that no output clips."""
    context, conditions = found.context, found.conditions
    if found.analysis == "look" and isinstance(context, LookContext):
        tones = tuple(context.tones_hz.values())
        return len(tones) == 1 and LOWEST_GAIN_HZ <= tones[0] <= HIGHEST_GAIN_HZ
    is_clean = isinstance(context, ContinuousContext) and not isinstance(context, BurstContext)
    is_clean = is_clean and found.analysis == "continuous" and conditions.drive == "clean"
    return is_clean and LOWEST_GAIN_HZ <= (conditions.frequency_hz or 0.0) <= HIGHEST_GAIN_HZ


def _seen_at_clean(found: Analysed) -> Iterator[tuple[str, tuple[float, float]]]:
    for figure in found.figures:
        if figure.name == "output_rms" and not figure.contradiction:
            yield figure.channel, (figure.value, figure.expanded_uncertainty or 0.0)


def _seen_in_look(found: Analysed) -> Iterator[tuple[str, tuple[float, float]]]:
    for each in found.comparisons:
        if each.quantity == OUTPUT_VOLTAGE:
            yield each.channel, (each.first.value, each.first.uncertainty)
