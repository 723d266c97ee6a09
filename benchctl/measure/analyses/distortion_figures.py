"""Distortion against frequency, at a level where the bench's own distortion may be as large as the amplifier's.

The generator's tone is not pure, and a converter is not straight. Their harmonics add to the amplifier's by phase, so a
measured distortion m leaves m - o to m + o for the amplifier's, o being the bench's own. Where o is not far below m, or
the record's own noise is not, the distortion is only known to be m + o at most.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from benchctl.errors import MeasurementError, SilentRecord, WrongFrequency
from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.budget.figure import Figure, figure_of, from_capture
from benchctl.measure.budget.meters import Readings
from benchctl.measure.budget.signals import Signals
from benchctl.measure.signal.distortion import Distortion, harmonic_distortion, noise_and_distortion, tone_spectrum
from benchctl.measure.signal.record import OUTPUT, Capture, Trace
from benchctl.measure.signal.supply import whole_cycles
from benchctl.measure.uncertainty import rectangular

_CLEAR = 3.0  # the bench's own distortion nearer to the measured one than this makes it a bound


@dataclass(frozen=True, kw_only=True)
class DistortionContext(IdleContext):
    """A tone at each of `tones_hz` (role of the capture -> Hz), its distortion taken up to `bands_hz` (role -> Hz).

    `generator_distortion`: what the generator's tone has at most. `linearity`: how far the oscilloscope may be off a
    straight line, as a part of its range.
    """

    tones_hz: Mapping[str, float]
    bands_hz: Mapping[str, float]
    generator_distortion: float
    linearity: float


def distortion(captures: Mapping[str, Capture], _readings: Readings, context: DistortionContext) -> list[Figure]:
    """Captures by the roles of the context's tones, each of all driven outputs.

    Gives thd_n, thd and output_rms per channel and frequency; nothing where an output has no clear tone, as beyond the
    corner of a filter.

    Raises:
        MeasurementError: a record is missing, or no output has a clear tone at any frequency.
    """
    if missing := set(context.tones_hz) - set(captures):
        raise MeasurementError(f"no record was taken at {', '.join(sorted(missing))}")
    figures: list[Figure] = []
    silent: list[MeasurementError] = []
    for role, frequency_hz in context.tones_hz.items():
        signals = Signals(captures[role], context.accuracy)
        for channel in captures[role].channels:
            try:
                own = from_capture(_figures_at(signals, channel, role, context), captures[role].name)
            except (WrongFrequency, SilentRecord) as error:
                silent.append(error)
                continue
            figures += [replace(figure, frequency_hz=frequency_hz) for figure in own]
    if not figures:
        raise silent[0] if silent else MeasurementError("no output was recorded")
    return figures


def _figures_at(signals: Signals, channel: str, role: str, context: DistortionContext) -> Iterator[Figure]:
    capture, frequency_hz, band_hz = signals.capture, context.tones_hz[role], context.bands_hz[role]
    trace = capture.trace(OUTPUT + channel)
    tone = tone_spectrum(trace.values(), capture.interval_s, frequency_hz, trace.step)
    own = context.generator_distortion + converters_distortion(trace, tone.fit.amplitude, context.linearity)
    yield _figure("thd_n", noise_and_distortion(tone, band_hz), own, channel)
    if 2.0 * frequency_hz <= band_hz:
        yield _figure("thd", harmonic_distortion(tone, band_hz), own, channel)
    yield figure_of("output_rms", signals.rms(OUTPUT + channel, whole_cycles(capture, frequency_hz)), "V", channel)


def converters_distortion(trace: Trace, amplitude: float, linearity: float) -> float:
    """The distortion of a sine of an amplitude by a converter whose curve is off a straight line by a part of its range
    at most: a harmonic of that amplitude."""
    return linearity * trace.full_scale / amplitude


def _figure(name: str, found: Distortion, own: float, channel: str) -> Figure:
    if found.is_bound or found.ratio < _CLEAR * own:
        return Figure(
            name, found.at_most + own, "1", channel=channel, bound="at most", bound_reason=_reason(found, own)
        )
    return figure_of(name, found.uncertain() + rectangular(0.0, own), "1", channel)


def _reason(found: Distortion, own: float) -> str:
    if own > found.floor:
        return f"generator and oscilloscope may distort by {100.0 * own:.2g} % themselves"
    return f"the record's own noise and steps make {100.0 * found.floor:.2g} %"
