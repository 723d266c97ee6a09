"""Where a heatsink's temperature will end, as figures, from readings taken while it was on its way."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.budget.figure import Figure, figure_of
from benchctl.measure.budget.meters import Readings
from benchctl.measure.signal.record import Capture
from benchctl.measure.signal.thermal import Prediction, predict_final_temperature
from benchctl.measure.uncertainty import COVERAGE_FACTOR, ErrorOf, measured

TIME, HEATSINK = "time", "heatsink"
_WORST_TIME_CONSTANT_U = 0.25  # standard, relative: a U of more than half of it would reach twice and half of it
_FORETELLS_NOTHING_K = 20.0  # of uncertainty: from tepid to too hot to touch


@dataclass(frozen=True, kw_only=True)
class WarmingContext(IdleContext):
    """A heatsink on its way to another temperature, read by a thermometer that shows steps of `resolution_k`."""

    resolution_k: float = 0.01


def warming(_captures: Mapping[str, Capture], readings: Readings, context: WarmingContext) -> list[Figure]:
    """Readings time (s) and heatsink (degC), taken together.

    Gives heatsink_temperature (the last reading) and, unless the end is as good as unknown, final_heatsink_temperature
    and heatsink_time_constant; with a second stage also heatsink_time_constant_fast.

    Raises:
        MeasurementError: there are too few readings.
    """
    chain = ErrorOf(context.readings_accuracy.get(HEATSINK, ()))
    found = predicted_end(readings, context.resolution_k)
    now = figure_of("heatsink_temperature", chain.on(float(_readable(readings)[1][-1])), "degC")
    if found.expanded_uncertainty_k > _FORETELLS_NOTHING_K:
        return [now]
    end_c = measured(found.final_c, found.expanded_uncertainty_k / COVERAGE_FACTOR)
    return [now, figure_of("final_heatsink_temperature", chain.on(end_c), "degC"), *_time_constants(found)]


def predicted_end(readings: Readings, resolution_k: float) -> Prediction:
    """The end of the readings time and heatsink.

    Raises:
        MeasurementError: there are too few.
    """
    times_s, temperatures_c = _readable(readings)
    return predict_final_temperature(times_s, temperatures_c, resolution_k)


def _readable(readings: Readings) -> tuple[list[float], list[float]]:
    """Times and temperatures, without what could not be read."""
    pairs = list(zip(readings.get(TIME, ()), readings.get(HEATSINK, ()), strict=False))
    usable = [(time_s, temperature_c) for time_s, temperature_c in pairs if math.isfinite(temperature_c)]
    if not usable:
        raise MeasurementError("the heatsink was never read")
    return [time_s for time_s, _ in usable], [temperature_c for _, temperature_c in usable]


def _time_constants(found: Prediction) -> list[Figure]:
    """The slow stage's, which is the heatsink's own, and the fast one's, which is that of the devices, if it shows; as
    far as they are known."""
    names = ("heatsink_time_constant", "heatsink_time_constant_fast")
    known = zip(names, found.time_constants_s, found.time_constants_u, strict=False)
    return [figure_of(name, measured(tau_s, tau_s * u), "s") for name, tau_s, u in known if u < _WORST_TIME_CONSTANT_U]
