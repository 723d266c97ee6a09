"""How well a quantity would be told after a further step: the information of records that do not exist yet, by the
fitted model.

The records of the run and of all candidates go through the model once. The rows of some of them, with what is plausible
of any amplifier, make the information matrix of a run that has these.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchctl.errors import MeasurementError
from benchctl.fit.fitting import Fitted
from benchctl.fit.forward import Forward
from benchctl.fit.model.physics import Samples
from benchctl.fit.parameters import Parameters
from benchctl.fit.plausible import parameters_for
from benchctl.fit.prediction.asked import THD_LIMIT, Asked
from benchctl.fit.prediction.drives import clean_level
from benchctl.fit.prediction.predicting import physics_for
from benchctl.fit.reading.items import Take
from benchctl.fit.solver import Solution
from benchctl.fit.told import Quantity, quantities
from benchctl.further.measurement import Measurement

SAG = 0.1
"""Part of their voltage by which rails give way under full power, where the run does not tell it; and with it the time
constant of the reservoir (common practice)."""
RESERVOIR_S, HELD_S = 0.01, 2e-4


@dataclass(frozen=True)
class Point:
    """A measurement with its records."""

    measurement: Measurement
    takes: tuple[Take, ...]


class Foreseen:
    """What a run with any choice of points would tell.

    Args:
        fitted: of the run.
        told: what it tells; for what it does not, something plausible is reckoned with.
        points: of the run itself and of all candidates.
    """

    def __init__(self, fitted: Fitted, told: Sequence[Quantity], points: Iterable[Point]) -> None:
        self._fitted = fitted
        self._points = {point.measurement: point for point in points}
        self._takes = tuple(take for point in self._points.values() for take in point.takes)
        run, channels = fitted.run, fitted.run.amplifier.channels
        values = reckoned_with(fitted, told)
        self._parameters = parameters_for(self._takes, channels, fitted.kind, run.bench, values)
        self._coordinates = self._parameters.coordinates(values)
        forward = Forward(
            self._takes,
            channels,
            fitted.kind,
            fitted.nominal_v,
            self._parameters,
            senses_terminals=run.bench.senses_terminals,
        )
        self._forward = forward
        self._slopes = forward.jacobian(self._coordinates, _scaled(forward, fitted))[1]

    def told_with(self, measured: Iterable[Measurement]) -> tuple[Quantity, ...]:
        """Every quantity as a run with these would tell it."""
        takes = [take for each in measured for take in self._points[each].takes]
        covariance = self._covariance({id(take) for take in takes})
        nothing = np.zeros(len(self._coordinates))
        solution = Solution(self._coordinates, covariance, 0.0, nothing, 0, self._slopes[:0], nothing[:0])
        run = replace(self._fitted.run, takes=tuple(takes))
        seen = replace(self._fitted, run=run, forward=self._forward, parameters=self._parameters)
        return quantities(replace(seen, solution=solution, misfits=()))

    def _covariance(self, kept: set[int]) -> Samples:
        rows = [rows for rows in self._forward.rows if id(self._takes[rows.take]) in kept]
        chosen = np.concatenate([*(np.arange(each.start, each.stop) for each in rows), [len(self._slopes) - 1]])
        slopes = self._slopes[chosen]
        information = slopes.T @ slopes + np.eye(slopes.shape[1])
        scale = 1.0 / np.sqrt(np.diag(information))
        return np.asarray(np.linalg.inv(information * scale[:, None] * scale[None]) * scale[:, None] * scale[None])


def reckoned_with(fitted: Fitted, told: Sequence[Quantity]) -> dict[str, float]:
    """Each parameter of the whole model: as fitted, or plausible where the run does not tell it."""
    values = fitted.parameters.values(fitted.solution.coordinates)
    found = {
        parameter.name: float(value)
        for parameter, value in zip(fitted.parameters.each, values, strict=True)
        if parameter.take < 0
    }
    untold = {quantity.name for quantity in told if quantity.untold}
    if "rail_stiffness" in untold and "reservoir" in untold:
        if not fitted.kind.regulated:
            found["stiffness_ohm"] = SAG * found["headroom_v"] / _full_load_a(fitted, found["headroom_v"])
        found["reservoir_f"] = (HELD_S if fitted.kind.regulated else RESERVOIR_S) / found["stiffness_ohm"]
    return found


def _full_load_a(fitted: Fitted, headroom_v: float) -> float:
    """On the rails at rated power into the load that was used: of class D the power over a rail, else the mean size of
    the currents."""
    loads = [take.loads for take in fitted.run.takes if take.shape != "rest" and take.loads]
    if not loads:
        raise MeasurementError("no tone of this run has a load")
    ohms = [load.measured_ohm for load in loads[0].values()]
    halves = fitted.kind.halves
    if fitted.kind.switching:
        return sum((halves * headroom_v) ** 2 / 2.0 / ohm / headroom_v for ohm in ohms)
    return sum(halves**2 * headroom_v * 2.0 / math.pi / ohm for ohm in ohms)


def clean_level_v(fitted: Fitted, values: Mapping[str, float], load_ohm: float, supply_v: float) -> float:
    """The highest clean level of a continuous tone, RMS."""
    coordinates = _moved(fitted.parameters, fitted.solution.coordinates, values)[None]
    of = physics_for(fitted, Asked(load_ohm, supply_v), coordinates)
    # A level of 1 is a peak there, and RMS everywhere else.
    return float(clean_level(of, fitted.kind, THD_LIMIT)[0]) / math.sqrt(2.0)


def _moved(parameters: Parameters, coordinates: Samples, values: Mapping[str, float]) -> Samples:
    planned = parameters.coordinates({name: values[name] for name in ("stiffness_ohm", "reservoir_f")})
    found = coordinates.copy()
    for name in ("stiffness_ohm", "reservoir_f"):
        found[parameters.place(name)] = planned[parameters.place(name)]
    return found


def _scaled(forward: Forward, fitted: Fitted) -> Samples:
    """A factor on each noise: what does not fit within chance in the run will not in another one either."""
    worst: dict[tuple[str, str], float] = {}
    for misfit in fitted.misfits:
        if misfit.is_beyond_chance and not any(misfit.is_same(other) for other in fitted.left_out):
            key = (misfit.take.shape, misfit.signal)
            worst[key] = max(worst.get(key, 1.0), math.sqrt(misfit.mean_square))
    scaled = np.ones(forward.values)
    for rows in forward.rows:
        scaled[rows.start : rows.stop] = worst.get((forward.takes[rows.take].shape, rows.item.signal), 1.0)
    return scaled
