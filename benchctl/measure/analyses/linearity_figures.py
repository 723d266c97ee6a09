"""Gain at a level against the gain at a reference level: what bends, or does not follow, at small and large levels."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.analyses.response_figures import Point, ResponseContext, point_of
from benchctl.measure.budget.figure import Figure, figure_of, from_capture
from benchctl.measure.budget.meters import Readings
from benchctl.measure.budget.signals import Signals
from benchctl.measure.signal.record import Capture
from benchctl.measure.uncertainty import ErrorOf

REFERENCE = "reference"  # the role of the record at the reference level
_HARDLY_KNOWN = 0.3  # expanded uncertainty, relative: a ratio known worse has no even interval in decibels


@dataclass(frozen=True, kw_only=True)
class LinearityContext(IdleContext):
    """A sine of `frequency_hz` from the generator, of each of `levels_v` (role of the capture -> V RMS)."""

    frequency_hz: float
    levels_v: Mapping[str, float]


def linearity(captures: Mapping[str, Capture], _readings: Readings, context: LinearityContext) -> list[Figure]:
    """Captures of the driven outputs by the roles of the context's levels, "reference" among them.

    Gives gain_linearity per channel and level: the ratio of both gains, 1 where they are the same. It is a bound where
    the output is no more than noise, or the generator's level is hardly known. The generator may be off by another
    amount at each level, and the oscilloscope on each range, so their errors count twice.

    Raises:
        MeasurementError: a record is missing, or an output is silent at the reference level.
    """
    if missing := {REFERENCE, *context.levels_v} - set(captures):
        raise MeasurementError(f"gain linearity lacks a record: {', '.join(sorted(missing))}")
    figures: list[Figure] = []
    for role in context.levels_v:
        if role != REFERENCE:
            own = [_figure(channel, role, captures, context) for channel in captures[role].channels]
            figures += from_capture(own, captures[role].name)
    return figures


def _figure(channel: str, role: str, captures: Mapping[str, Capture], context: LinearityContext) -> Figure:
    at_level = _point(captures, channel, role, context)
    at_reference = _point(captures, channel, REFERENCE, context)
    if at_reference.is_drowned:
        raise MeasurementError(
            f"output {channel} is no more than noise at the reference level", advice="Choose a higher reference."
        )
    if at_level.is_drowned:
        most = at_level.highest / at_reference.lowest
        return _bound(most, channel, "the output is no more than noise at this level")
    figure = figure_of("gain_linearity", at_level.gain / at_reference.gain, "1", channel)
    expanded = figure.expanded_uncertainty or 0.0
    if expanded > _HARDLY_KNOWN * figure.value:
        return _bound(figure.value + expanded, channel, "the generator's level is hardly known at this level")
    return figure


def _bound(most: float, channel: str, reason: str) -> Figure:
    return Figure("gain_linearity", most, "1", channel=channel, bound="at most", bound_reason=reason)


def _point(captures: Mapping[str, Capture], channel: str, role: str, context: LinearityContext) -> Point:
    """The gain at a level, with errors of generator and oscilloscope that are its own."""
    level_v = context.levels_v[role]
    of_level = ResponseContext(
        tones_hz={role: context.frequency_hz},
        level_v=level_v,
        accuracy=context.accuracy,
        level_accuracy=context.level_accuracy,
        frequency_accuracy=context.frequency_accuracy,
    )
    source = ErrorOf(context.level_accuracy).on(level_v)
    return point_of(Signals(captures[role], context.accuracy), channel, context.frequency_hz, source, of_level)
