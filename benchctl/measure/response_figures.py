"""Gain, phase and band edges of each channel, from one record a frequency of a stepped sine.

The generator's level is as good as its accuracy; its sync output starts each record, so phase counts from there.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from uncertainties import UFloat

from benchctl.errors import MeasurementError
from benchctl.measure.context import IdleContext
from benchctl.measure.figure import Figure, figure_of, from_capture
from benchctl.measure.meters import Readings
from benchctl.measure.record import OUTPUT, Capture
from benchctl.measure.response import Response, passband, transfer
from benchctl.measure.signals import Signals
from benchctl.measure.sine import SineFit, fit_sine
from benchctl.measure.uncertainty import COVERAGE_FACTOR, Accuracy, ErrorOf, rectangular

DB_OF_A_RATIO = 20.0 / math.log(10.0)  # dB for a relative change of 1, where it is small
_SLOPE_STEP_OCTAVES = 1.0 / 24.0  # to either side of a band edge: well inside the distance of two third-octaves


@dataclass(frozen=True, kw_only=True)
class ResponseContext(IdleContext):
    """A sine of `level_v` V RMS from the generator at each of `tones_hz` (role of the capture -> Hz).

    `reference_hz`: where gain counts as that of the pass band; None: where it is highest, for each channel.
    `level_accuracy`: of the generator's level, in V. `frequency_accuracy`: its limit of error, relative.
    """

    tones_hz: Mapping[str, float]
    level_v: float
    reference_hz: float | None = 1000.0
    level_accuracy: tuple[Accuracy, ...] = ()
    frequency_accuracy: float = 0.0


@dataclass(frozen=True)
class Point:
    """One channel at one frequency; `phase_u_rad` is a standard uncertainty, `noise_gain` as in `Response`."""

    frequency_hz: float
    gain: UFloat
    phase_rad: float
    phase_u_rad: float
    noise_gain: float
    capture: str


def response(captures: Mapping[str, Capture], _readings: Readings, context: ResponseContext) -> list[Figure]:
    """Captures by the roles of the context's tones, each of all outputs.

    Gives gain and phase per channel and frequency, channel_balance (gain over that of the first channel) per further
    channel and frequency, lower_band_edge and upper_band_edge per channel: a bound where the response ends before it
    has fallen by 3 dB.

    Raises:
        MeasurementError: a record is missing or silent, or there are fewer than two.
    """
    sweep = swept(captures, context)
    figures: list[Figure] = []
    for channel, points in sweep.items():
        figures += gain_figures(channel, points)
    first, *others = sweep
    for channel in others:
        figures += _balance_figures(channel, sweep[channel], sweep[first])
    for channel, points in sweep.items():
        figures += _edge_figures(channel, points, reference_of(points, context))
    return figures


def swept(captures: Mapping[str, Capture], context: ResponseContext) -> dict[str, list[Point]]:
    """Each channel -> its points at rising frequencies.

    Raises:
        MeasurementError: a record is missing or silent, or there are fewer than two.
    """
    roles = sorted(context.tones_hz, key=lambda role: context.tones_hz[role])
    if len(roles) < 2 or not set(roles) <= set(captures):
        raise MeasurementError("a response needs a record at each of two or more frequencies")
    source = ErrorOf(context.level_accuracy).on(context.level_v)
    by_channel: dict[str, list[Point]] = {}
    for role in roles:
        signals = Signals(captures[role], context.accuracy)
        for channel in captures[role].channels:
            point = point_of(signals, channel, context.tones_hz[role], source, context)
            by_channel.setdefault(channel, []).append(point)
    return by_channel


def reference_of(points: list[Point], context: ResponseContext) -> float:
    """The frequency in Hz whose gain counts as that of the pass band."""
    if context.reference_hz is not None:
        return context.reference_hz
    return max(points, key=lambda point: float(point.gain.nominal_value)).frequency_hz


def point_of(signals: Signals, channel: str, frequency_hz: float, source_v: UFloat, context: ResponseContext) -> Point:
    """Gain and phase of a channel at one frequency.

    Raises:
        MeasurementError: the output is silent.
    """
    capture, signal = signals.capture, OUTPUT + channel
    fit = fit_sine(capture.trace(signal).values(), capture.interval_s, frequency_hz)
    noise_v = fit.residual_rms * math.sqrt(2.0 / capture.samples)
    if not fit.amplitude > noise_v:
        raise MeasurementError(f"output {channel} is silent at {frequency_hz:g} Hz")
    source = _as_triggered(capture, frequency_hz, float(source_v.nominal_value))
    gain = transfer(fit, source)
    return Point(
        frequency_hz=frequency_hz,
        gain=signals.on_difference(signal, fit.amplitude, noise_v) / (math.sqrt(2.0) * source_v),
        phase_rad=math.atan2(gain.imag, gain.real),
        phase_u_rad=_phase_uncertainty(capture, frequency_hz, noise_v / fit.amplitude, context.frequency_accuracy),
        noise_gain=noise_v / source.amplitude,
        capture=capture.name,
    )


def _as_triggered(capture: Capture, frequency_hz: float, level_v: float) -> SineFit:
    """The generator's sine, which crosses zero upwards at the trigger, as a fit of this record would find it."""
    at_start_rad = 2.0 * math.pi * frequency_hz * capture.start_s - math.pi / 2.0
    return SineFit(math.sqrt(2.0) * level_v, frequency_hz, at_start_rad, 0.0, 0.0)


def _phase_uncertainty(capture: Capture, frequency_hz: float, noise_rad: float, frequency_accuracy: float) -> float:
    """Noise, the trigger's place within a sample, and what an error of the frequency turns until mid-record."""
    radians_per_s = 2.0 * math.pi * frequency_hz
    trigger = radians_per_s * float(rectangular(0.0, capture.interval_s / 2.0).std_dev)
    turned = radians_per_s * float(rectangular(0.0, frequency_accuracy * capture.duration_s / 2.0).std_dev)
    return math.sqrt(noise_rad**2 + trigger**2 + turned**2)


def response_of(points: list[Point]) -> Response:
    """The points as one curve.

    No bench file says how flat an instrument is, so the whole uncertainty of a gain is taken as free from one
    frequency to the next.
    """
    frequencies = [point.frequency_hz for point in points]
    gains = [_as_complex(point) for point in points]
    relative = min(float(point.gain.std_dev / point.gain.nominal_value) for point in points)
    return Response.of(frequencies, gains, DB_OF_A_RATIO * relative, max(point.noise_gain for point in points))


def _as_complex(point: Point) -> complex:
    gain = float(point.gain.nominal_value)
    return complex(gain * math.cos(point.phase_rad), gain * math.sin(point.phase_rad))


def gain_figures(channel: str, points: list[Point]) -> Iterator[Figure]:
    """gain and phase of a channel at each frequency."""
    phases_deg = response_of(points).phase_deg
    for point, phase_deg in zip(points, phases_deg, strict=True):
        phase = Figure(
            "phase",
            math.radians(float(phase_deg)),
            "rad",
            COVERAGE_FACTOR * point.phase_u_rad,
            COVERAGE_FACTOR,
            channel,
        )
        for figure in (figure_of("gain", point.gain, "1", channel), phase):
            yield replace(figure, frequency_hz=point.frequency_hz, capture=point.capture)


def _balance_figures(channel: str, points: list[Point], first: list[Point]) -> Iterator[Figure]:
    for point, other in zip(points, first, strict=True):
        balance = figure_of("channel_balance", point.gain / other.gain, "1", channel)
        yield replace(balance, frequency_hz=point.frequency_hz, capture=point.capture)


def _edge_figures(channel: str, points: list[Point], reference_hz: float) -> list[Figure]:
    curve = response_of(points)
    band = passband(curve, reference_hz)
    lowest_hz, highest_hz = points[0].frequency_hz, points[-1].frequency_hz
    edges = [
        band_edge("lower_band_edge", channel, curve, band.lower_hz)
        or Figure("lower_band_edge", lowest_hz, "Hz", channel=channel, bound="at most"),
        band_edge("upper_band_edge", channel, curve, band.upper_hz)
        or Figure("upper_band_edge", highest_hz, "Hz", channel=channel, bound="at least"),
    ]
    relative_to = [replace(edge, frequency_hz=reference_hz) for edge in edges]
    return from_capture(relative_to, *(point.capture for point in points))


def band_edge(name: str, channel: str, curve: Response, edge_hz: float | None) -> Figure | None:
    """A band edge with what the gains' uncertainty and the interpolation make of it; None where there is none.

    The edge lies where the curve crosses a level, so the level's uncertainty over the curve's slope is the edge's.
    """
    if edge_hz is None:
        return None
    level_u_db = math.hypot(math.sqrt(2.0) * curve.scatter_db, curve.interpolation_doubt_db(edge_hz))
    octaves = level_u_db / abs(_slope_db_per_octave(curve, edge_hz))
    uncertainty_hz = COVERAGE_FACTOR * edge_hz * math.log(2.0) * octaves
    return Figure(name, edge_hz, "Hz", uncertainty_hz, COVERAGE_FACTOR, channel)


def _slope_db_per_octave(curve: Response, frequency_hz: float) -> float:
    lower_hz = max(frequency_hz * 2.0**-_SLOPE_STEP_OCTAVES, float(curve.frequencies_hz[0]))
    upper_hz = min(frequency_hz * 2.0**_SLOPE_STEP_OCTAVES, float(curve.frequencies_hz[-1]))
    return (curve.gain_db_at(upper_hz) - curve.gain_db_at(lower_hz)) / math.log2(upper_hz / lower_hz)
