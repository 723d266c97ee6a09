"""Corner, slope and order of the filters in front of an output, from a stepped sine that reaches far beyond them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from benchctl.errors import MeasurementError, SilentRecord
from benchctl.measure.analyses.response_figures import (
    Point,
    ResponseContext,
    band_edge,
    gain_figures,
    in_the_clear,
    lost_edge,
    reference_of,
    response_of,
    swept,
)
from benchctl.measure.budget.figure import Figure, from_capture
from benchctl.measure.budget.meters import Readings
from benchctl.measure.signal.record import Capture
from benchctl.measure.signal.response import Slope, lower_slope, passband, upper_slope
from benchctl.measure.uncertainty import COVERAGE_FACTOR

SLOPE_UNIT = "dB/octave"


def filter_figures(captures: Mapping[str, Capture], _readings: Readings, context: ResponseContext) -> list[Figure]:
    """Captures by the roles of the context's tones, each of all outputs; the reference lies in the pass band.

    Gives gain per channel and frequency, and per channel with a low-pass low_pass_corner (where gain is 3 dB down),
    low_pass_slope and, where it is certain, low_pass_order; the same of a high-pass. A gain that is no more than noise
    is a bound, and nothing is read from it but the bound of a corner that lies just before it.

    Raises:
        SilentRecord: every output is silent, at the reference or everywhere.
        MeasurementError: a record is missing, or no channel shows a filter.
    """
    sweep = swept(captures, context)
    if not any(in_the_clear(points, reference_of(points, context)) for points in sweep.values()):
        raise SilentRecord(
            f"no output is more than noise at the reference of {context.reference_hz:g} Hz; "
            "set `reference` to a frequency in the band that the filter leaves"
        )
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
    clear = in_the_clear(points, reference_hz)
    if not clear:
        return []
    curve = response_of(clear)
    band = passband(curve, reference_hz)
    low = band_edge("low_pass_corner", channel, curve, band.upper_hz)
    high = band_edge("high_pass_corner", channel, curve, band.lower_hz)
    figures = [
        low or lost_edge("low_pass_corner", channel, points, curve, reference_hz, upwards=True),
        *_of_slope("low_pass", channel, upper_slope(curve, band)),
        high or lost_edge("high_pass_corner", channel, points, curve, reference_hz),
        *_of_slope("high_pass", channel, lower_slope(curve, band)),
    ]
    relative_to = [replace(figure, frequency_hz=reference_hz) for figure in figures if figure is not None]
    return from_capture(relative_to, *(point.capture for point in points))


def _of_slope(kind: str, channel: str, slope: Slope | None) -> Iterator[Figure]:
    if slope is None:
        return
    yield Figure(f"{kind}_slope", slope.db_per_octave, SLOPE_UNIT, slope.expanded_uncertainty, COVERAGE_FACTOR, channel)
    if slope.order is not None:  # certain, or it is not told
        yield Figure(f"{kind}_order", float(slope.order), "1", 0.0, COVERAGE_FACTOR, channel)
