"""Noise of the undriven amplifier: as it is, A-weighted, how far it lies below a power, and its strongest lines."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.budget.figure import Figure, as_bound, figure_of, from_capture
from benchctl.measure.budget.meters import Readings
from benchctl.measure.noise.lines import (
    Line,
    lines_of,
    mains_hz,
    multiple_in_words,
    multiple_of,
    nominal_mains_hz,
    seen_there,
)
from benchctl.measure.noise.own import Level, NoiseRecord, amplifiers_noise
from benchctl.measure.signal.record import OUTPUT, Capture
from benchctl.measure.uncertainty import ErrorOf, measured

REFERENCE_W = 1.0  # CEA-2006 refers A-weighted noise to 1 W
MOST_LINES = 5
NOISE, OFF = "noise", "amplifier off"  # the roles of the two records
# While the amplifier is off, a line of less than this part is not the instrument's.
_ITS_OWN = 1.0 / 3.0
_DIGITS = 3


@dataclass(frozen=True, kw_only=True)
class NoiseContext(IdleContext):
    """The undriven amplifier into a nominal `load_ohm`; `rated_w`: what the plate claims for that load, if it does.

    `bits`: of the oscilloscope's converter. `own_unknown`: channel -> why there is no record of the oscilloscope's own
    noise at the range that was used.
    """

    load_ohm: float
    rated_w: float | None = None
    bits: int = 8
    own_unknown: Mapping[str, str] | None = None


@dataclass(frozen=True)
class NamedLine:
    """A line of a channel's noise and its name, which is empty where nothing tells what it is.

    `frequency_hz`: so that two runs call it the same: the multiple of the nominal mains frequency, or to three digits.
    `own_v`: the most of it that the oscilloscope may show while the amplifier is off; None where that is not known.
    `is_own`: whether it clearly shows it then.
    """

    line: Line
    name: str
    frequency_hz: float
    own_v: float | None
    is_own: bool = False

    @property
    def is_bound(self) -> bool:
        return self.own_v is None or self.own_v > _ITS_OWN * self.line.rms_v

    @property
    def in_words(self) -> str:
        """Its name, and whether it is the amplifier's, as far as that was measured."""
        also = "also with the amplifier off" if self.is_own else ""
        only = "" if self.is_bound else "only with the amplifier on"
        return ", ".join(filter(None, [self.name, also or only]))

    @property
    def why_bound(self) -> str:
        """Why no more than a bound is known of it."""
        if self.is_own:
            return "the line is there while the amplifier is off, too"
        return "the record of the oscilloscope alone cannot tell whether the line is its own"


def noise_figures(captures: Mapping[str, Capture], _readings: Readings, context: NoiseContext) -> list[Figure]:
    """Capture "noise" of all outputs, a quarter of a second or more; "amplifier off", the same of the oscilloscope by
    itself, as far as there is one.

    Gives output_noise and output_noise_a_weighted per channel (V, 20 Hz to 20 kHz), from the A-weighted one
    signal_to_noise_1w and, where the load is rated, signal_to_noise_rated: ratios of voltages; and noise_line at each
    of the strongest lines.

    Raises:
        MeasurementError: the record is missing, too short or sampled too slowly.
    """
    if NOISE not in captures:
        raise MeasurementError("no capture of the undriven output was taken")
    figures: list[Figure] = []
    for channel in captures[NOISE].channels:
        records = records_of(captures, channel, context)
        of_channel = _levels(channel, *records, context) + _line_figures(channel, *records, context)
        names = [captures[role].name for role, record in zip((NOISE, OFF), records, strict=True) if record]
        figures += from_capture(of_channel, *names)
    return figures


def strongest_lines(captures: Mapping[str, Capture], channel: str, context: NoiseContext) -> list[NamedLine]:
    """The strongest lines in the noise of a channel, with their names."""
    return _named(*records_of(captures, channel, context))[:MOST_LINES]


def records_of(
    captures: Mapping[str, Capture], channel: str, context: NoiseContext
) -> tuple[NoiseRecord, NoiseRecord | None]:
    """The noise of a channel, and that of the oscilloscope alone, where it was taken alike."""
    signal = OUTPUT + channel
    record = NoiseRecord(captures[NOISE].trace(signal), captures[NOISE].interval_s, context.bits)
    off = captures.get(OFF)
    if off is None or signal not in off.traces:
        return record, None
    own = NoiseRecord(off.trace(signal), off.interval_s, context.bits)
    return record, own if own.is_like(record) else None


def _levels(channel: str, record: NoiseRecord, off: NoiseRecord | None, context: NoiseContext) -> list[Figure]:
    unknown = (context.own_unknown or {}).get(channel, "")
    spectrum = record.spectrum
    plain = amplifiers_noise(record, off, np.ones_like(spectrum.frequencies_hz), unknown)
    weighted = amplifiers_noise(record, off, spectrum.weights, unknown)
    # A part of the range is an error of the zero line, which noise does not count; so no full scale is given.
    error = ErrorOf(context.accuracy.get(OUTPUT + channel, ()))
    weighted_v = error.on_difference(measured(weighted.volts, weighted.volts_u))
    plain_v = error.on_difference(measured(plain.volts, plain.volts_u))
    figures = [
        _bounded(figure_of("output_noise", plain_v, "V", channel), "at most", plain),
        _bounded(figure_of("output_noise_a_weighted", weighted_v, "V", channel), "at most", weighted),
    ]
    for name, power_w in (("signal_to_noise_1w", REFERENCE_W), ("signal_to_noise_rated", context.rated_w)):
        if power_w is not None:
            ratio = math.sqrt(power_w * context.load_ohm) / weighted_v
            figures.append(_bounded(figure_of(name, ratio, "1", channel), "at least", weighted))
    return figures


def _bounded(figure: Figure, bound: Literal["at most", "at least"], level: Level) -> Figure:
    return as_bound(figure, bound, level.reason) if level.is_bound else figure


def _line_figures(channel: str, record: NoiseRecord, off: NoiseRecord | None, context: NoiseContext) -> list[Figure]:
    unknown = (context.own_unknown or {}).get(channel, "")
    error = ErrorOf(context.accuracy.get(OUTPUT + channel, ()))
    figures = []
    for named in _named(record, off)[:MOST_LINES]:
        volts, own_v = named.line.rms_v, named.own_v or 0.0
        # The same line of the oscilloscope's adds by its phase, which nobody knows: own_v cos(phase).
        chance_u = math.hypot(named.line.square_u / (2.0 * volts), 0.0 if named.is_bound else own_v / math.sqrt(2.0))
        most = measured(volts + own_v if named.is_bound else volts, chance_u)
        level = Level(volts, chance_u, is_bound=named.is_bound, reason=unknown or named.why_bound)
        figure = _bounded(figure_of("noise_line", error.on_difference(most), "V", channel), "at most", level)
        figures.append(replace(figure, frequency_hz=named.frequency_hz))
    return figures


def _named(record: NoiseRecord, off: NoiseRecord | None) -> list[NamedLine]:
    lines, line_hz = lines_of(record.spectrum), record.spectrum.line_hz
    mains = mains_hz(lines if off is None else [*lines, *lines_of(off.spectrum)], line_hz)
    return [_named_line(line, mains, line_hz, off) for line in lines]


def _named_line(line: Line, mains: float | None, line_hz: float, off: NoiseRecord | None) -> NamedLine:
    multiple = multiple_of(line, mains, line_hz)
    if mains is None or multiple is None:
        digits = _DIGITS - 1 - math.floor(math.log10(line.frequency_hz))
        name, frequency_hz = "", round(line.frequency_hz, digits)
    else:
        name, frequency_hz = multiple_in_words(multiple), multiple * nominal_mains_hz(mains)
    own_v, is_own = (None, False) if off is None else seen_there(line, off.spectrum)
    return NamedLine(line, name, frequency_hz, own_v, is_own)
