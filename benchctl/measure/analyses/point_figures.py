"""Figures of the points at which a multimeter has measured: a mean of readings each, with the multimeter's error."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.budget.figure import Figure, figure_of
from benchctl.measure.budget.meters import Readings
from benchctl.measure.signal.record import Capture
from benchctl.measure.uncertainty import ErrorOf, mean_of

_UNITS = {"dc_voltage": "V", "ac_voltage": "V", "resistance": "ohm", "temperature": "degC"}


@dataclass(frozen=True, kw_only=True)
class PointsContext(IdleContext):
    """The points of a multimeter. `quantities`: point -> the name of its figure; `readings_accuracy` has the accuracy
    at each point, in the range that it was measured in."""

    quantities: Mapping[str, str]


def points(_captures: Mapping[str, Capture], readings: Readings, context: PointsContext) -> list[Figure]:
    """Readings: those of each point, by its name. Gives dc_voltage, ac_voltage, resistance or temperature, with the
    point in place of a channel.

    Raises:
        MeasurementError: nothing could be read at any point.
    """
    figures = [_figure(point, values, context) for point, values in readings.items() if values]
    if not figures:
        raise MeasurementError("the multimeter gave no reading at any point")
    return figures


def _figure(point: str, values: Sequence[float], context: PointsContext) -> Figure:
    name = context.quantities[point]
    shown = ErrorOf(context.readings_accuracy.get(point, ())).on(mean_of(values))
    return figure_of(name, shown, _UNITS[name], point)
