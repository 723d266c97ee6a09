"""What an amplifier does to its loads and to its supply while it wakes and while it falls asleep: thumps, and inrush.

A thump is how far an output leaves the voltage that it has most of the time, within 20 kHz; its energy is what that
puts into the load. Both are "at least" where the record ended or met the end of its range before the thump was over, or
where its samples lie so far apart that a peak may hide between them; and "at most" where noise alone may be as high.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.budget.figure import Bound, Figure, figure_of, from_capture
from benchctl.measure.budget.meters import Readings
from benchctl.measure.budget.signals import Signals
from benchctl.measure.signal.record import OUTPUT, SUPPLY_CURRENT, Capture, Samples, Trace
from benchctl.measure.signal.supply import extremes, whole_record
from benchctl.measure.uncertainty import LoadResistance

ON, OFF = "on", "off"
# Samples that lie farther apart may miss a peak: a tenth of what thumps and inrush last (common practice: ms).
_FINE_S = 1e-4
# A peak in the last part of a record may not have been the last one.
_END_PART = 0.02
# A deviation is told from noise where it is so many times the highest that noise makes in so many values.
_ABOVE_NOISE = 1.5
_MEDIAN_TO_SIGMA = 1.4826  # of normal noise: its standard deviation over its median absolute deviation


@dataclass(frozen=True, kw_only=True)
class TurnOnContext(IdleContext):
    """The undriven amplifier with `loads` at its outputs (channel -> load), switched off and on again."""

    loads: Mapping[str, LoadResistance] = field(default_factory=dict)


def turn_on(captures: Mapping[str, Capture], _readings: Readings, context: TurnOnContext) -> list[Figure]:
    """Captures "off" and "on", each begun before the amplifier was switched.

    Gives turn_on_thump, turn_on_thump_energy, turn_off_thump and turn_off_thump_energy per channel, and inrush_current.

    Raises:
        MeasurementError: neither was recorded.
    """
    if not {ON, OFF} & set(captures):
        raise MeasurementError("neither turning on nor turning off was recorded")
    figures: list[Figure] = []
    for role in (ON, OFF):
        if role in captures:
            capture = captures[role]
            signals = Signals(capture, context.accuracy, context.loads)
            thumps = [f for channel in signals.channels for f in _thump(f"turn_{role}_thump", signals, channel)]
            figures += from_capture(thumps, capture.name)
    if ON in captures and SUPPLY_CURRENT in captures[ON].traces:
        figures += from_capture(_inrush(Signals(captures[ON], context.accuracy)), captures[ON].name)
    return figures


def _thump(name: str, signals: Signals, channel: str) -> Iterator[Figure]:
    signal, capture = OUTPUT + channel, signals.capture
    trace = capture.traces[signal]
    values = trace.values()
    usual_v = float(np.median(values))
    lowest, highest = extremes(trace, whole_record(capture), capture.interval_s)
    peak = max(highest, lowest, key=lambda each: abs(each.value - usual_v))
    seen = signals.on_difference(signal, abs(peak.value - usual_v), peak.uncertainty)
    if seen.nominal_value <= _ABOVE_NOISE * _highest_of_noise(trace, values - usual_v):
        reason = "noise and the converter's steps alone may be as high; use a finer range: give a lower 'expected'"
        yield _bounded(figure_of(name, seen, "V", channel), "at most", reason)
        return
    reason = _why_at_least(capture, trace, np.abs(values - usual_v))
    yield (
        _bounded(figure_of(name, seen, "V", channel), "at least", reason)
        if reason
        else figure_of(name, seen, "V", channel)
    )
    yield _energy(f"{name}_energy", signals, channel, values - usual_v, reason)


def _energy(name: str, signals: Signals, channel: str, deviation_v: Samples, reason: str) -> Figure:
    """Of the whole record, less what its noise makes of it."""
    noise_v2 = _sigma(deviation_v) ** 2
    above_v2 = max(float(np.sum(deviation_v**2 - noise_v2)), 0.0)
    scatter_v2 = noise_v2 * math.sqrt(2.0 * deviation_v.size)
    rms_v = math.sqrt(above_v2)
    own_v = scatter_v2 / (2.0 * rms_v) if rms_v else 0.0
    power = signals.power(channel, signals.on_difference(OUTPUT + channel, rms_v, own_v))
    figure = figure_of(name, power * signals.capture.interval_s, "J", channel)
    return _bounded(figure, "at least", reason) if reason else figure


def _inrush(signals: Signals) -> Iterator[Figure]:
    capture = signals.capture
    trace = capture.traces[SUPPLY_CURRENT]
    _, highest = extremes(trace, whole_record(capture), capture.interval_s)
    figure = figure_of("inrush_current", signals.on(SUPPLY_CURRENT, highest.value, highest.uncertainty), "A")
    reason = _why_at_least(capture, trace, trace.values())
    yield _bounded(figure, "at least", reason) if reason else figure


def _why_at_least(capture: Capture, trace: Trace, size: Samples) -> str:
    """Why there may have been more than was seen; empty if there was not."""
    if trace.is_clipped:
        return "it went beyond the oscilloscope's range; give a higher 'expected'"
    if capture.interval_s > _FINE_S:
        return (
            f"samples lie {1e3 * capture.interval_s:.2g} ms apart, and a peak may be shorter; use an oscilloscope with "
            "more memory"
        )
    if int(np.argmax(size)) >= (1.0 - _END_PART) * size.size:
        return "it had not passed when the record ended; give a longer 'for'"
    return ""


def _highest_of_noise(trace: Trace, deviation_v: Samples) -> float:
    """The highest of so many values of normal noise, about, and what steps add."""
    return _sigma(deviation_v) * math.sqrt(2.0 * math.log(deviation_v.size)) + trace.step


def _sigma(deviation: Samples) -> float:
    """Of the noise, whatever pulse is in a small part of the record."""
    return _MEDIAN_TO_SIGMA * float(np.median(np.abs(deviation)))


def _bounded(figure: Figure, bound: Bound, reason: str) -> Figure:
    u = figure.expanded_uncertainty or 0.0
    value = figure.value + u if bound == "at most" else max(figure.value - u, 0.0)
    return Figure(figure.name, value, figure.unit, channel=figure.channel, bound=bound, bound_reason=reason)
