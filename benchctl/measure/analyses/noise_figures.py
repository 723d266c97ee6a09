"""Noise at the outputs of the undriven amplifier, as it is and A-weighted, and how far it lies below a power."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

from uncertainties import UFloat
from uncertainties.umath import sqrt

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.budget.figure import Figure, figure_of, from_capture
from benchctl.measure.budget.meters import Readings
from benchctl.measure.signal.noise import AUDIO_BAND_HZ, Noise, noise
from benchctl.measure.signal.record import OUTPUT, Capture, Samples, Trace
from benchctl.measure.uncertainty import ErrorOf, mean_of

# Five periods of 20 Hz: what `noise` wants, and a little over.
PART_S = 0.25
# As for distortion: rounding nearer than this makes a noise an upper bound.
_FLOOR_FACTOR = 3.0
REFERENCE_W = 1.0  # CEA-2006 refers A-weighted noise to 1 W


@dataclass(frozen=True, kw_only=True)
class NoiseContext(IdleContext):
    """The undriven amplifier into a nominal `load_ohm`; `rated_w`: what the plate claims for that load, if it does."""

    load_ohm: float
    rated_w: float | None = None


@dataclass(frozen=True)
class _Level:
    """A noise voltage with its uncertainty; only an upper bound where the converter's steps are near."""

    volts: UFloat
    is_bound: bool


def noise_figures(captures: Mapping[str, Capture], _readings: Readings, context: NoiseContext) -> list[Figure]:
    """Capture "noise" of all outputs, a quarter of a second or more.

    Gives output_noise and output_noise_a_weighted per channel (V, 20 Hz to 20 kHz), and from the A-weighted one
    signal_to_noise_1w and, where the load is rated, signal_to_noise_rated: ratios of voltages.

    Raises:
        MeasurementError: the record is missing, too short or sampled too slowly.
    """
    if "noise" not in captures:
        raise MeasurementError("no capture of the undriven output was taken")
    capture = captures["noise"]
    figures = [figure for channel in capture.channels for figure in _of_channel(capture, channel, context)]
    return from_capture(figures, capture.name)


def _of_channel(capture: Capture, channel: str, context: NoiseContext) -> list[Figure]:
    plain = _level(capture, channel, context, lambda part: part.rms_v)
    weighted = _level(capture, channel, context, lambda part: part.a_weighted_v)
    figures = [
        _bounded(figure_of("output_noise", plain.volts, "V", channel), "at most", plain),
        _bounded(figure_of("output_noise_a_weighted", weighted.volts, "V", channel), "at most", weighted),
    ]
    for name, power_w in (("signal_to_noise_1w", REFERENCE_W), ("signal_to_noise_rated", context.rated_w)):
        if power_w is not None:
            ratio = math.sqrt(power_w * context.load_ohm) / weighted.volts
            figures.append(_bounded(figure_of(name, ratio, "1", channel), "at least", weighted))
    return figures


def _bounded(figure: Figure, bound: Literal["at most", "at least"], level: _Level) -> Figure:
    if not level.is_bound:
        return figure
    uncertainty = figure.expanded_uncertainty or 0.0
    value = figure.value + uncertainty if bound == "at most" else figure.value - uncertainty
    return replace(figure, value=value, expanded_uncertainty=None, coverage_factor=None, bound=bound)


def _level(capture: Capture, channel: str, context: NoiseContext, of: Callable[[Noise], float]) -> _Level:
    """The mean square over parts of a quarter of a second; their scatter is what chance leaves of it."""
    signal = OUTPUT + channel
    trace = capture.trace(signal)
    squares = [of(noise(values, capture.interval_s)) ** 2 for values in _parts(capture, trace)]
    volts = sqrt(mean_of(squares))
    # A part of the range is an error of the zero line, which noise does not count; so no full scale is given.
    return _Level(
        ErrorOf(context.accuracy.get(signal, ())).on(volts),
        bool(volts.nominal_value < _FLOOR_FACTOR * _rounding_v(trace, capture.interval_s)),
    )


def _parts(capture: Capture, trace: Trace) -> Iterator[Samples]:
    """The record in parts of `PART_S` or a little more; whole, where it is shorter than two."""
    count = max(math.floor(capture.duration_s / PART_S * (1.0 + 1e-9)), 1)
    edges = [round(number * capture.samples / count) for number in range(count + 1)]
    return (trace.values(start, stop) for start, stop in pairwise(edges))


def _rounding_v(trace: Trace, interval_s: float) -> float:
    """The noise of rounding to the converter's steps, as far as it falls into the band: step^2 / 12 up to half the
    sample rate."""
    low_hz, high_hz = AUDIO_BAND_HZ
    return trace.step / math.sqrt(12.0) * math.sqrt((high_hz - low_hz) * 2.0 * interval_s)
