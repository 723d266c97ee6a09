"""Corner, slope and order of the filters in front of an output, from a stepped sine that reaches far beyond them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from benchctl.errors import MeasurementError
from benchctl.measure.figure import Figure, from_capture
from benchctl.measure.meters import Readings
from benchctl.measure.record import Capture
from benchctl.measure.response import Response, Slope, lower_slope, passband, upper_slope
from benchctl.measure.response_figures import (
    Point,
    ResponseContext,
    band_edge,
    gain_figures,
    reference_of,
    response_of,
    swept,
)
from benchctl.measure.uncertainty import COVERAGE_FACTOR

SLOPE_UNIT = "dB/octave"


def filter_figures(captures: Mapping[str, Capture], _readings: Readings, context: ResponseContext) -> list[Figure]:
    """Captures by the roles of the context's tones, each of all outputs; the reference lies in the pass band.

    Gives gain per channel and frequency, and per channel with a low-pass low_pass_corner (where gain is 3 dB down),
    low_pass_slope and, where it is certain, low_pass_order; the same of a high-pass.

    Raises:
        MeasurementError: a record is missing or silent, or no channel shows a filter.
    """
    sweep = swept(captures, context)
    corners = [
        figure
        for channel, points in sweep.items()
        for figure in _of_channel(channel, points, reference_of(points, context))
    ]
    if not corners:
        raise MeasurementError(
            f"no output is 3 dB down anywhere from {min(context.tones_hz.values()):g} Hz "
            f"to {max(context.tones_hz.values()):g} Hz: no filter shows"
        )
    gains = [figure for channel, points in sweep.items() for figure in gain_figures(channel, points)]
    return [figure for figure in gains if figure.name == "gain"] + corners


def _of_channel(channel: str, points: list[Point], reference_hz: float) -> list[Figure]:
    curve = response_of(points)
    band = passband(curve, reference_hz)
    figures = [
        *_of_filter("low_pass", channel, curve, band.upper_hz, upper_slope(curve, band)),
        *_of_filter("high_pass", channel, curve, band.lower_hz, lower_slope(curve, band)),
    ]
    relative_to = [replace(figure, frequency_hz=reference_hz) for figure in figures]
    return from_capture(relative_to, *(point.capture for point in points))


def _of_filter(
    kind: str, channel: str, curve: Response, corner_hz: float | None, slope: Slope | None
) -> Iterator[Figure]:
    corner = band_edge(f"{kind}_corner", channel, curve, corner_hz)
    if corner is None:
        return
    yield corner
    if slope is None:
        return
    yield Figure(f"{kind}_slope", slope.db_per_octave, SLOPE_UNIT, slope.expanded_uncertainty, COVERAGE_FACTOR, channel)
    if slope.order is not None:  # certain, or it is not told
        yield Figure(f"{kind}_order", float(slope.order), "1", 0.0, COVERAGE_FACTOR, channel)
