"""Predicted beside measured: a run's figures in a load that its fit leaves out."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from benchctl.archive.journal.entries import FiguresEntry, context_of
from benchctl.fit.examination import Examination, examined
from benchctl.fit.prediction.asked import Asked, Predicted
from benchctl.fit.prediction.predicting import Prediction, predict
from benchctl.fit.reading.taking import RunTaken, without_load
from benchctl.measure.analyses.context import ContinuousContext
from benchctl.measure.budget.figure import Figure

MEASURED_IN = {
    "continuous_power": "continuous",
    "supply_current": "continuous",
    "efficiency": "continuous",
    "burst_power_clean": "burst",
}
"""The analysis that gives each figure."""


@dataclass(frozen=True)
class Beside:
    """A figure as it was predicted and as it was measured."""

    predicted: Predicted
    measured: Figure

    @property
    def difference(self) -> float:
        """Measured less predicted."""
        return self.measured.value - self.predicted.value

    @property
    def is_within(self) -> bool:
        """Whether both uncertainties together explain the difference; errors of an instrument that was used for both
        cancel in part, so that it is rather a little too wide than too narrow."""
        both = math.hypot(self.predicted.expanded_uncertainty, self.measured.expanded_uncertainty or 0.0)
        return abs(self.difference) <= both


def examined_without(run: RunTaken, load_ohm: float) -> Examination:
    """The fit of all but one load."""
    return examined(without_load(run, load_ohm))


def predicted_there(found: Examination, load_ohm: float, supply_v: float, bursts: Sequence[int] = ()) -> Prediction:
    """What the run's own steps in a load should have shown, into the resistors that it had; and other bursts."""
    entries = entries_in(found.run, load_ohm, supply_v)
    played = {int(entry.context["cycles"]) for entry in entries if entry.analysis == "burst"}
    return predict(found, Asked(load_ohm, supply_v, tuple(sorted(played | set(bursts))), dict(_true_ohm(entries))))


def beside(prediction: Prediction, entries: Sequence[FiguresEntry]) -> Iterator[Beside]:
    """Each predicted figure with the one that was measured in these steps."""
    for predicted in prediction.figures:
        for entry in entries:
            if entry.analysis != MEASURED_IN[predicted.name] or entry.context.get("cycles", 0) != predicted.cycles:
                continue
            for figure in entry.figures:
                if (figure.name, figure.channel) == (predicted.name, predicted.channel) and not figure.bound:
                    yield Beside(predicted, figure)


def entries_in(run: RunTaken, load_ohm: float, supply_v: float) -> list[FiguresEntry]:
    """Bursts and continuous tones in a load, at a supply voltage, at the clean level."""
    return [
        entry
        for entry in run.entries
        if entry.analysis in MEASURED_IN.values()
        and entry.figures
        and entry.conditions.load_ohm is not None
        and math.isclose(entry.conditions.load_ohm, load_ohm, rel_tol=1e-3)
        and math.isclose(entry.conditions.supply_set_v or 0.0, supply_v, rel_tol=1e-3)
        and (entry.analysis == "burst" or entry.conditions.drive == "clean")
    ]


def _true_ohm(entries: Sequence[FiguresEntry]) -> Iterator[tuple[str, float]]:
    """Each channel's load as warm as it was, as far as its sensor shows."""
    for entry in entries:
        context = context_of(entry)
        if isinstance(context, ContinuousContext):
            for channel, load in context.loads.items():
                rise_k = 0.0 if load.temperature_c is None else load.temperature_c - load.reference_c
                yield channel, load.measured_ohm * (1.0 + load.temperature_coefficient_per_k * rise_k)
