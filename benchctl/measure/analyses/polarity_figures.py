"""Polarity of each output against the generator, and phase of each output against the first, from steady tones.

The generator's sync output rises with its sine, and starts each record. All outputs are sampled in one record, so
between them only the oscilloscope counts: how far apart its channels sample and its probes delay.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.response_figures import Point, ResponseContext, swept
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.meters import Readings
from benchctl.measure.signal.record import Capture
from benchctl.measure.uncertainty import COVERAGE_FACTOR, rectangular

# Nearer to a quarter of a turn than this a filter or a delay may have turned the phase, and no polarity is told.
_DOUBTFUL_RAD = math.radians(30.0)


@dataclass(frozen=True, kw_only=True)
class PolarityContext(ResponseContext):
    """Tones as of a response. `polarity_hz`: the tone that polarity is told from. `skew_s`: the largest difference
    between the delays of two channels of the oscilloscope, probes included."""

    polarity_hz: float
    skew_s: float


def polarity(captures: Mapping[str, Capture], _readings: Readings, context: PolarityContext) -> list[Figure]:
    """Captures by the roles of the context's tones, each of all outputs.

    Gives polarity per channel (1: as the generator, -1: inverted), where its phase tells it; and channel_phase per
    further channel and frequency, where both outputs are more than noise.

    Raises:
        SilentRecord: every output is silent.
        MeasurementError: a record is missing.
    """
    sweep = swept(captures, context, fewest=1)
    figures = [figure for channel, points in sweep.items() for figure in _polarity(channel, points, context)]
    first, *others = sweep
    for channel in others:
        figures += _phases(channel, sweep[channel], sweep[first], captures, context)
    return figures


def _polarity(channel: str, points: list[Point], context: PolarityContext) -> Iterator[Figure]:
    for point in points:
        if point.frequency_hz != context.polarity_hz or point.is_drowned:
            continue
        from_quarter_rad = abs(abs(point.phase_rad) - math.pi / 2.0)
        if from_quarter_rad > _DOUBTFUL_RAD + COVERAGE_FACTOR * point.phase_u_rad:
            value = 1.0 if abs(point.phase_rad) < math.pi / 2.0 else -1.0
            yield Figure(
                "polarity",
                value,
                "1",
                0.0,
                COVERAGE_FACTOR,
                channel,
                frequency_hz=point.frequency_hz,
                capture=point.capture,
            )


def _phases(
    channel: str,
    points: list[Point],
    first: list[Point],
    captures: Mapping[str, Capture],
    context: PolarityContext,
) -> Iterator[Figure]:
    intervals_s = {capture.name: capture.interval_s for capture in captures.values()}
    for point, other in zip(points, first, strict=True):
        if point.is_drowned or other.is_drowned:
            continue
        apart_rad = math.remainder(point.phase_rad - other.phase_rad, 2.0 * math.pi)
        uncertainty_rad = _phase_uncertainty(point, other, intervals_s[point.capture], context.skew_s)
        figure = Figure("channel_phase", apart_rad, "rad", COVERAGE_FACTOR * uncertainty_rad, COVERAGE_FACTOR, channel)
        yield replace(figure, frequency_hz=point.frequency_hz, capture=point.capture)


def _phase_uncertainty(point: Point, other: Point, interval_s: float, skew_s: float) -> float:
    """Noise of both, the skew, and channels that one converter samples in turn."""
    radians_per_s = 2.0 * math.pi * point.frequency_hz
    noise = [each.noise_gain / float(each.gain.nominal_value) for each in (point, other)]
    skew = radians_per_s * float(rectangular(0.0, skew_s).std_dev)
    sampling = radians_per_s * float(rectangular(0.0, interval_s / 2.0).std_dev)
    return math.sqrt(sum(each**2 for each in noise) + skew**2 + sampling**2)


def inverted_in_words(figures: list[Figure]) -> Iterator[str]:
    """Each output that is inverted, against the generator and against the first output."""
    for figure in figures:
        if figure.name == "polarity" and figure.value < 0.0:
            yield f"output {figure.channel} is inverted against the generator"
    phases = [figure for figure in figures if figure.name == "channel_phase"]
    for channel in dict.fromkeys(figure.channel for figure in phases):
        if all(_is_inverted(figure) for figure in phases if figure.channel == channel):
            yield f"output {channel} is inverted against the first output: summed, or bridged, they would cancel"


def _is_inverted(figure: Figure) -> bool:
    return abs(figure.value) - (figure.expanded_uncertainty or 0.0) > math.pi / 2.0 + _DOUBTFUL_RAD


def polarity_tone_hz(frequencies: tuple[float, ...]) -> float:
    """The tone that polarity is told from: the one nearest to 1 kHz, where filters and delays turn least.

    Raises:
        MeasurementError: there is none.
    """
    if not frequencies:
        raise MeasurementError("polarity needs a tone")
    return min(frequencies, key=lambda frequency_hz: abs(math.log(frequency_hz / 1000.0)))
