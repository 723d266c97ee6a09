"""Predicted figures with their uncertainty.

U holds what the fit's own covariance makes of a figure (errors of probes, clamp and loads of that run are in it, and
what the model of the rails may be off by), how much the bias may differ from record to record, how finely a search on
the bench finds the clean level, and what the model itself may be off, as campaigns have found. It is never less than
the run has measured such figures with.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from benchctl.errors import MeasurementError
from benchctl.fit.allowance import with_allowance
from benchctl.fit.examination import Examination
from benchctl.fit.fitting import Fitted
from benchctl.fit.model.physics import Physics, Samples
from benchctl.fit.prediction.asked import THD_LIMIT, Asked, Predicted
from benchctl.fit.prediction.carried import SAME, reasons, warnings
from benchctl.fit.prediction.drives import Steady, clean_burst, clean_steady

MODEL_U = {"AB": 0.003, "D": 0.01}
"""Standard uncertainty of the model itself, relative, of power and current (`python -m benchmarks.predictions`)."""

SEARCH_DB = 0.01
"""As finely a search finds the clean level, between two exposures that are 0.05 dB apart."""

_STEP = 0.2
"""Of a standard deviation, for differences."""


@dataclass(frozen=True)
class Prediction:
    """What is predicted of what was asked: figures with warnings, or the reasons why there are none."""

    asked: Asked
    figures: tuple[Predicted, ...]
    warnings: tuple[str, ...]
    refused: tuple[str, ...]


def predict(found: Examination, asked: Asked) -> Prediction:
    """Predict, or say why not."""
    refused = tuple(dict.fromkeys(reasons(found, asked)))
    if refused or found.fitted is None:
        return Prediction(asked, (), (), refused)
    figures, peak_a = _figures(found.fitted, asked)
    figures = [_no_surer_than_measured(each, found) for each in figures]
    if not all(math.isfinite(each.value + each.expanded_uncertainty) for each in figures):
        raise MeasurementError("the model gives no finite value for this load")
    return Prediction(asked, tuple(figures), tuple(warnings(found, asked, peak_a)), ())


def _no_surer_than_measured(predicted: Predicted, found: Examination) -> Predicted:
    """No narrower, as a part of its value, than the run has measured such a figure of this channel where it could."""
    known = [
        figure.expanded_uncertainty / abs(figure.value)
        for entry in found.run.entries
        for figure in entry.figures
        if (figure.name, figure.channel) == (predicted.name, predicted.channel)
        and figure.expanded_uncertainty
        and figure.value
    ]
    least_u = min(known, default=0.0) * abs(predicted.value)
    if least_u <= predicted.expanded_uncertainty:
        return predicted
    more = math.sqrt(least_u**2 - predicted.expanded_uncertainty**2)
    return replace(predicted, expanded_uncertainty=least_u, parts={**predicted.parts, "bench": more})


def _figures(fitted: Fitted, asked: Asked) -> tuple[list[Predicted], float]:
    sets = _Sets(fitted)
    of = physics_for(fitted, asked, sets.coordinates)
    steady, lower = clean_steady(of, fitted.kind, THD_LIMIT, SEARCHED)
    figures = [sets.figure(*each, cycles=0) for each in _of_steady(fitted, steady, lower)]
    for cycles in asked.bursts:
        powers, less = clean_burst(of, fitted.kind, _quiet(fitted), cycles, THD_LIMIT, SEARCHED)
        for row, channel in enumerate(fitted.run.amplifier.channels):
            figures.append(
                sets.figure("burst_power_clean", channel, "W", powers[row], float(less[row, 0]), cycles=cycles)
            )
    return figures, float((steady.peak_v / of.load_ohm)[:, 0].max())


SEARCHED = 10.0 ** (-SEARCH_DB / 20.0)


def _of_steady(fitted: Fitted, steady: Steady, lower: Steady) -> Iterator[tuple[str, str, str, Samples, float]]:
    for row, channel in enumerate(fitted.run.amplifier.channels):
        yield "continuous_power", channel, "W", steady.power_w[row], float(lower.power_w[row, 0])
    yield "supply_current", "", "A", steady.supply_a, float(lower.supply_a[0])
    yield "efficiency", "", "1", steady.efficiency, float(lower.efficiency[0])


class _Sets:
    """The fitted coordinates, then each moved by a part of its standard deviation, then the bias of a new record."""

    def __init__(self, fitted: Fitted) -> None:
        self._model_u = MODEL_U["D" if fitted.kind.switching else "AB"]
        middle, covariance = fitted.solution.coordinates, with_allowance(fitted)
        each = fitted.parameters.each
        self._places = [place for place, parameter in enumerate(each) if parameter.reach == "all"]
        self._covariance = covariance[np.ix_(self._places, self._places)]
        self._moves = _STEP * np.sqrt(np.diag(self._covariance))
        neutral = np.where([parameter.reach == "take" for parameter in each], 0.0, middle)
        self.coordinates = np.repeat(neutral[None], len(self._places) + 2, axis=0)
        for row, (place, move) in enumerate(zip(self._places, self._moves, strict=True), start=1):
            self.coordinates[row, place] += move
        self.coordinates[-1, fitted.parameters.place("bias part", _reference(fitted))] = _STEP

    def figure(self, name: str, channel: str, unit: str, values: Samples, searched: float, *, cycles: int) -> Predicted:
        """With its U and what makes it. `searched`: at a level that is the search's resolution lower."""
        slopes = (values[1:-1] - values[0]) / self._moves
        parts: Mapping[str, float] = {
            "parameters": 2.0 * math.sqrt(float(slopes @ self._covariance @ slopes)),
            "bias": 2.0 * abs(float(values[-1] - values[0])) / _STEP,
            "search": 2.0 * abs(float(values[0]) - searched) / math.sqrt(3.0),
            "model": 2.0 * self._model_u * abs(float(values[0])),
        }
        return Predicted(name, channel, unit, float(values[0]), math.hypot(*parts.values()), cycles, parts)


def physics_for(fitted: Fitted, asked: Asked, coordinates: Samples) -> Physics:
    """The physics of all sets of coordinates where it is asked for; `peak_v` for a level of 1."""
    values = fitted.parameters.values(coordinates)
    of = fitted.forward.physics([_reference(fitted)], values)
    channels = fitted.run.amplifier.channels
    place = fitted.parameters.place
    return replace(
        of,
        supply_v=_supply_v(fitted, asked.supply_v, values),
        load_ohm=np.array([np.full(len(values), asked.true_ohm.get(each, asked.load_ohm)) for each in channels]),
        peak_v=np.array([values[:, place(f"gain {each}")] for each in channels]),
        phase=np.zeros_like(of.phase),
    )


def _supply_v(fitted: Fitted, asked_v: float, values: Samples) -> Samples:
    """What the supply truly gives where it is set to `asked_v`: between the voltages that were measured, its error is
    taken on a straight line."""
    known = sorted({take.supply_v for take in fitted.run.takes})
    true = [values[:, fitted.parameters.place(f"supply {volts:g}")] for volts in known]
    if asked_v <= known[0]:
        return np.asarray(true[0] * asked_v / known[0])
    for lower, upper, low_v, high_v in zip(true, true[1:], known, known[1:], strict=False):
        if asked_v <= high_v * (1.0 + SAME / 100.0):
            part = (asked_v - low_v) / (high_v - low_v)
            return np.asarray(lower + part * (upper - lower))
    return np.asarray(true[-1] * asked_v / known[-1])


def _reference(fitted: Fitted) -> int:
    """A tone, whose record lends its frequency."""
    return next(number for number, take in enumerate(fitted.run.takes) if take.shape != "rest")


def _quiet(fitted: Fitted) -> float:
    """The part of the level that plays between bursts."""
    return next((take.quiet for take in fitted.run.takes if take.shape == "burst"), 0.1)
