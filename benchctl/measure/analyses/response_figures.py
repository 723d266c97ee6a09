"""Gain, phase and band edges of each channel, from one record a frequency of a stepped sine.

The generator's level is as good as its accuracy; its sync output starts each record, so phase counts from there. A gain
that is no more than noise is an upper bound, and the curve that band edges are read from ends before it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import takewhile

import numpy as np
from uncertainties import UFloat

from benchctl.errors import MeasurementError, SilentRecord
from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.budget.figure import Figure, figure_of, from_capture
from benchctl.measure.budget.meters import Readings
from benchctl.measure.budget.signals import Signals
from benchctl.measure.rounding.alike import alike
from benchctl.measure.signal.record import OUTPUT, Capture
from benchctl.measure.signal.response import HALF_POWER_DB, Response, passband, transfer
from benchctl.measure.signal.sine import SineFit, fit_with_noise
from benchctl.measure.uncertainty import COVERAGE_FACTOR, ErrorOf, rectangular

DB_OF_A_RATIO = 20.0 / math.log(10.0)  # dB for a relative change of 1, where it is small
_FLOOR_FACTOR = 3.0  # nearer to the record's own noise than this a gain is an upper bound
_SLOPE_STEP_OCTAVES = 1.0 / 24.0  # to either side of a band edge: well inside the distance of two third-octaves


@dataclass(frozen=True, kw_only=True)
class ResponseContext(IdleContext):
    """A sine of `level_v` V RMS from the generator at each of `tones_hz` (role of the capture -> Hz).

    `reference_hz`: where gain counts as that of the pass band; None: where it is highest, for each channel.
    """

    tones_hz: Mapping[str, float]
    level_v: float
    reference_hz: float | None = 1000.0


@dataclass(frozen=True)
class Point:
    """One channel at one frequency; `phase_u_rad` is a standard uncertainty, `noise_gain` as in `Response`.

    `floor_gain` is the gain, as a standard uncertainty, that noise and the converter's steps may make of silence.
    """

    frequency_hz: float
    gain: UFloat
    phase_rad: float
    phase_u_rad: float
    noise_gain: float
    floor_gain: float
    capture: str

    @property
    def is_drowned(self) -> bool:
        """Whether no more is known of the gain than that it is `highest` at most."""
        return not self.gain.nominal_value > _FLOOR_FACTOR * self.floor_gain

    @property
    def highest(self) -> float:
        """The highest gain that may be there."""
        return float(self.gain.nominal_value + COVERAGE_FACTOR * max(self.gain.std_dev, self.floor_gain))

    @property
    def lowest(self) -> float:
        """The lowest gain that may be there."""
        return max(0.0, float(self.gain.nominal_value - COVERAGE_FACTOR * self.gain.std_dev))


def response(captures: Mapping[str, Capture], _readings: Readings, context: ResponseContext) -> list[Figure]:
    """Captures by the roles of the context's tones, each of all outputs.

    Gives gain and phase per channel and frequency, channel_balance (gain over that of the first channel) per further
    channel and frequency, lower_band_edge and upper_band_edge per channel: a bound where the response ends, or is lost
    in noise, before it is known to have fallen by 3 dB. A gain that is no more than noise is a bound without a phase;
    there are no edges of a channel that is silent at the reference.

    Raises:
        SilentRecord: every output is silent.
        MeasurementError: a record is missing, or there are fewer than two.
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


def swept(captures: Mapping[str, Capture], context: ResponseContext, fewest: int = 2) -> dict[str, list[Point]]:
    """Each channel -> its points at rising frequencies.

    Raises:
        SilentRecord: every output is silent.
        MeasurementError: a record is missing, or there are fewer than `fewest`.
    """
    roles = sorted(context.tones_hz, key=lambda role: context.tones_hz[role])
    if len(roles) < fewest or not set(roles) <= set(captures):
        number = "two or more frequencies" if fewest > 1 else "the frequencies"
        raise MeasurementError(f"a response needs a record at each of {number}")
    source = ErrorOf(context.level_accuracy).on(context.level_v)
    by_channel: dict[str, list[Point]] = {}
    for role in roles:
        signals = Signals(captures[role], context.accuracy)
        for channel in captures[role].channels:
            point = point_of(signals, channel, context.tones_hz[role], source, context)
            by_channel.setdefault(channel, []).append(point)
    if all(point.is_drowned for points in by_channel.values() for point in points):
        raise SilentRecord(f"every output is silent: no more than noise from {roles[0]} to {roles[-1]}")
    return by_channel


def reference_of(points: list[Point], context: ResponseContext) -> float:
    """The frequency in Hz whose gain counts as that of the pass band."""
    if context.reference_hz is not None:
        return context.reference_hz
    return max(points, key=lambda point: float(point.gain.nominal_value)).frequency_hz


def in_the_clear(points: Sequence[Point], reference_hz: float) -> list[Point]:
    """The points about the reference, on either side up to the first that is no more than noise; empty if it is one."""
    down = [point for point in points if point.frequency_hz <= reference_hz]
    up = [point for point in points if point.frequency_hz > reference_hz]
    below, above = (list(takewhile(lambda point: not point.is_drowned, side)) for side in (reversed(down), up))
    clear = [*reversed(below), *above]
    reaches = len(clear) >= 2 and clear[0].frequency_hz <= reference_hz <= clear[-1].frequency_hz
    return clear if reaches else []


def point_of(signals: Signals, channel: str, frequency_hz: float, source_v: UFloat, context: ResponseContext) -> Point:
    """Gain and phase of a channel at one frequency."""
    capture, signal = signals.capture, OUTPUT + channel
    trace = capture.trace(signal)
    fit, noise_v = fit_with_noise(trace.values(), capture.interval_s, frequency_hz)
    floor_v = math.hypot(noise_v, math.sqrt(2.0 * alike(fit.residual_rms, trace.step)))
    source = _as_triggered(capture, frequency_hz, float(source_v.nominal_value))
    gain = transfer(fit, source)
    return Point(
        frequency_hz=frequency_hz,
        gain=signals.on_difference(signal, fit.amplitude, noise_v) / (math.sqrt(2.0) * source_v),
        phase_rad=math.atan2(gain.imag, gain.real),
        phase_u_rad=_phase_uncertainty(
            capture, frequency_hz, noise_v / fit.amplitude if fit.amplitude else math.pi, context.frequency_accuracy
        ),
        noise_gain=noise_v / source.amplitude,
        floor_gain=floor_v / source.amplitude,
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


def response_of(points: Sequence[Point]) -> Response:
    """The points, none of them drowned, as one curve.

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
    """gain and phase of a channel at each frequency; of a drowned point the bound of its gain."""
    clear = [point for point in points if not point.is_drowned]
    phases_rad = iter(np.unwrap([point.phase_rad for point in clear]))
    for point in points:
        figures = [_gain_figure(channel, point)]
        if not point.is_drowned:
            expanded = COVERAGE_FACTOR * point.phase_u_rad
            figures.append(Figure("phase", float(next(phases_rad)), "rad", expanded, COVERAGE_FACTOR, channel))
        for figure in figures:
            yield replace(figure, frequency_hz=point.frequency_hz, capture=point.capture)


def _gain_figure(channel: str, point: Point) -> Figure:
    if point.is_drowned:
        return Figure("gain", point.highest, "1", channel=channel, bound="at most")
    return figure_of("gain", point.gain, "1", channel)


def _balance_figures(channel: str, points: list[Point], first: list[Point]) -> Iterator[Figure]:
    """channel_balance at each frequency where one of the two channels, at least, is more than noise."""
    for point, other in zip(points, first, strict=True):
        if not (point.is_drowned and other.is_drowned):
            balance = _balance_figure(channel, point, other)
            yield replace(balance, frequency_hz=point.frequency_hz, capture=point.capture)


def _balance_figure(channel: str, point: Point, other: Point) -> Figure:
    if point.is_drowned:
        return Figure("channel_balance", point.highest / other.lowest, "1", channel=channel, bound="at most")
    if other.is_drowned:
        return Figure("channel_balance", point.lowest / other.highest, "1", channel=channel, bound="at least")
    return figure_of("channel_balance", point.gain / other.gain, "1", channel)


def _edge_figures(channel: str, points: list[Point], reference_hz: float) -> list[Figure]:
    clear = in_the_clear(points, reference_hz)
    if not clear:
        return []
    curve = response_of(clear)
    band = passband(curve, reference_hz)
    edges = [
        band_edge("lower_band_edge", channel, curve, band.lower_hz)
        or lost_edge("lower_band_edge", channel, points, curve, reference_hz)
        or Figure("lower_band_edge", clear[0].frequency_hz, "Hz", channel=channel, bound="at most"),
        band_edge("upper_band_edge", channel, curve, band.upper_hz)
        or lost_edge("upper_band_edge", channel, points, curve, reference_hz, upwards=True)
        or Figure("upper_band_edge", clear[-1].frequency_hz, "Hz", channel=channel, bound="at least"),
    ]
    relative_to = [replace(edge, frequency_hz=reference_hz) for edge in edges]
    return from_capture(relative_to, *(point.capture for point in points))


def lost_edge(
    name: str, channel: str, points: Sequence[Point], curve: Response, reference_hz: float, *, upwards: bool = False
) -> Figure | None:
    """The bound of an edge that lies between the curve's end and the next point, where gain is 3 dB down or more and
    lost in noise; None where there is no such point."""
    end_hz = float(curve.frequencies_hz[-1 if upwards else 0])
    beyond = [point for point in points if (point.frequency_hz > end_hz if upwards else point.frequency_hz < end_hz)]
    fallen = 10.0 ** ((curve.gain_db_at(reference_hz) - HALF_POWER_DB) / 20.0)
    if not beyond or beyond[0 if upwards else -1].highest > fallen:
        return None
    lost_hz = beyond[0 if upwards else -1].frequency_hz
    return Figure(name, lost_hz, "Hz", channel=channel, bound="at most" if upwards else "at least")


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
