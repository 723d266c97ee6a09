"""What an amplifier held all through a long tone: from records taken on the way, the first and the last among them.

After the method of 16 CFR 432.3(e): rated power at rated distortion or less, after at least five minutes of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from benchctl.measure.analyses.burst_figures import distortion_figure
from benchctl.measure.budget.figure import Figure, figure_of, from_capture
from benchctl.measure.budget.signals import Signals
from benchctl.measure.carrier.folding import doubt_of, is_fine
from benchctl.measure.signal.distortion import BAND_HZ, Distortion, noise_and_distortion, tone_spectrum
from benchctl.measure.signal.record import OUTPUT, SUPPLY_VOLTAGE, Capture
from benchctl.measure.signal.supply import whole_cycles
from benchctl.measure.uncertainty import Accuracies, LoadResistance


def held_figures(
    captures: Iterable[Capture],
    frequency_hz: float,
    accuracy: Mapping[str, Accuracies],
    loads: Mapping[str, LoadResistance],
    band_hz: float = BAND_HZ,
    *,
    switching: bool = False,
) -> list[Figure]:
    """held_power, the lowest, and held_thd_n, the highest of all records, per channel; held_supply_voltage, the lowest
    mean at the amplifier's terminals, where that was captured. `switching`: of class D, whose carrier may be folded."""
    records = sorted(captures, key=lambda capture: capture.taken_s)
    each = [(record, Signals(record, accuracy, loads)) for record in records]
    figures: list[Figure] = []
    for channel in sorted({channel for _, signals in each for channel in signals.channels}):
        with_channel = [(record, signals) for record, signals in each if channel in signals.channels]
        figures.append(_lowest_power(with_channel, channel, frequency_hz))
        worst = _worst_distortion([record for record, _ in with_channel], channel, frequency_hz, band_hz)
        figures.append(_doubted(worst, records[0].interval_s) if switching else worst)
    return figures + _lowest_voltage(each, frequency_hz)


def _lowest_power(each: Sequence[tuple[Capture, Signals]], channel: str, frequency_hz: float) -> Figure:
    found = [
        from_capture(
            [figure_of("held_power", signals.mean_power(channel, whole_cycles(record, frequency_hz)), "W", channel)],
            record.name,
        )[0]
        for record, signals in each
    ]
    return min(found, key=lambda figure: figure.value)


def _worst_distortion(records: Sequence[Capture], channel: str, frequency_hz: float, band_hz: float) -> Figure:
    found = [(_distortion(record, OUTPUT + channel, frequency_hz, band_hz), record.name) for record in records]
    worst, name = max(found, key=lambda each: each[0].at_most if each[0].is_bound else each[0].ratio)
    return from_capture([distortion_figure("held_thd_n", worst, channel)], name)[0]


def _doubted(worst: Figure, interval_s: float) -> Figure:
    """At most so much, where a carrier may have added to it."""
    if is_fine(interval_s) or worst.bound:
        return worst
    most = worst.value + (worst.expanded_uncertainty or 0.0)
    return replace(
        worst,
        value=most,
        expanded_uncertainty=None,
        coverage_factor=None,
        bound="at most",
        bound_reason=doubt_of(interval_s),
    )


def _distortion(record: Capture, signal: str, frequency_hz: float, band_hz: float) -> Distortion:
    trace = record.trace(signal)
    return noise_and_distortion(tone_spectrum(trace.values(), record.interval_s, frequency_hz, trace.step), band_hz)


def _lowest_voltage(each: Sequence[tuple[Capture, Signals]], frequency_hz: float) -> list[Figure]:
    found = [
        from_capture(
            [figure_of("held_supply_voltage", signals.mean(SUPPLY_VOLTAGE, whole_cycles(record, frequency_hz)), "V")],
            record.name,
        )[0]
        for record, signals in each
        if signals.has(SUPPLY_VOLTAGE)
    ]
    return [min(found, key=lambda figure: figure.value)] if found else []
