"""The figures of a steady tone."""

from __future__ import annotations

import math

import numpy as np
from uncertainties import UFloat

from benchctl.measure.analyses.burst_figures import distortion_figure
from benchctl.measure.analyses.context import ContinuousContext, IdleContext
from benchctl.measure.analyses.supply_figures import (
    ampere_figures,
    efficiency_figures,
    marginal_figures,
    supply_figures,
)
from benchctl.measure.analyses.supply_voltages import terminal_voltage, with_read_voltages
from benchctl.measure.budget.figure import Figure, figure_of, from_capture
from benchctl.measure.budget.meters import Meters
from benchctl.measure.budget.power import by_channel
from benchctl.measure.budget.signals import Signals
from benchctl.measure.signal.distortion import ToneSpectrum, harmonic_distortion, noise_and_distortion, tone_spectrum
from benchctl.measure.signal.peaks import Blur, half_span, lowest_and_highest, missed_by_samples, outermost
from benchctl.measure.signal.record import OUTPUT, SUPPLY_CURRENT, SUPPLY_VOLTAGE, Capture
from benchctl.measure.signal.supply import Span, whole_cycles

_ABOVE_NOISE = 20.0  # times the mean power of its lines: of a hundred million, noise makes less than one so strong


def tone_figures(
    capture: Capture, meters: Meters, context: ContinuousContext, rest: Capture | None = None
) -> list[Figure]:
    """Power, voltages and distortion at each channel, supply draw and efficiency; with a record of the supply at
    `rest`, also of what the tone draws beyond that.

    The supply's current is the same all along its leads: where it was both captured and read back, the surer one is
    the figure, and its peak is that and what the record rises above its own mean. Its voltage is not: what the supply
    reads at its own output is a figure of its own.
    """
    signals = Signals(capture, context.accuracy, context.loads)
    span = whole_cycles(capture, context.frequency_hz)
    powers = {channel: signals.mean_power(channel, span) for channel in signals.channels}
    shares = by_channel(powers, is_every_load=signals.has_every_load)
    figures = [figure_of("continuous_power", power, "W", channel) for channel, power in shares.items()]
    for channel in signals.channels:
        figures += _channel_figures(signals, span, channel, context)
    output_w = sum(powers.values()) if signals.has_every_load else None
    figures += efficiency_figures(output_w, supply_power(signals, meters, span, context))
    figures += marginal_figures(output_w, signals, span, rest) + ampere_figures(
        output_w, _surer(_mean(signals, SUPPLY_CURRENT, span), meters.get("supply_current"))
    )
    figures += supply_figures(signals, span, _surer_reading(signals, meters, span))
    surer = _with_surer_current(from_capture(figures, capture.name), meters)
    return with_read_voltages(surer, meters, context)


def _channel_figures(signals: Signals, span: Span, channel: str, context: ContinuousContext) -> list[Figure]:
    """The crest factor is that of half of peak to peak, which an error of zero does not move."""
    signal = OUTPUT + channel
    trace = signals.capture.trace(signal)
    values = trace.values()
    tone = tone_spectrum(values, signals.capture.interval_s, context.frequency_hz)
    rms = signals.rms(signal, span)
    missed = missed_by_samples(_most_missed(tone, context.band_hz))
    lowest, highest = lowest_and_highest(values, Blur.of_samples(_sample_noise(tone), trace.step))
    ends = lowest.moved(-missed.value, missed.uncertainty), highest.moved(missed.value, missed.uncertainty)
    peak, half = outermost(*ends), half_span(*ends)
    figures = [
        figure_of("output_rms", rms, "V", channel),
        figure_of("output_peak", signals.on(signal, peak.value, peak.uncertainty), "V", channel),
        figure_of("crest_factor", signals.on_difference(signal, half.value, half.uncertainty) / rms, "1", channel),
        distortion_figure("thd_n", noise_and_distortion(tone, context.band_hz, trace.step), channel),
    ]
    if 2.0 * tone.fit.frequency_hz <= context.band_hz:  # above it no harmonic lies within the band
        figures.append(distortion_figure("thd", harmonic_distortion(tone, context.band_hz, trace.step), channel))
    return figures


def _sample_noise(tone: ToneSpectrum) -> float:
    """Noise of a single sample: all of the spectrum at the density between its tones."""
    return math.sqrt(float(np.median(tone.power)) / math.log(2.0) * tone.power.size)


def _most_missed(tone: ToneSpectrum, band_hz: float) -> float:
    """By how much samples may miss the tops of what is above the band, such as the residue of a carrier: a ripple of
    amplitude a and frequency f by a (1 - cos(pi f T)) at most, T being the interval."""
    density = float(np.median(tone.power)) / math.log(2.0)
    frequencies_hz = tone.line_hz * np.arange(tone.power.size)
    above = (frequencies_hz > band_hz) & (tone.power > _ABOVE_NOISE * density)
    tops = np.sqrt(2.0 * tone.power[above]) * (1.0 - np.cos(math.pi * frequencies_hz[above] * tone.interval_s))
    return float(np.sqrt(np.sum(tops**2)))


def supply_power(signals: Signals, meters: Meters, span: Span, context: IdleContext) -> UFloat | None:
    """Mean power at the amplifier's terminals in W; where nothing measures the voltage there, at the supply's output,
    so that what the leads lose counts too."""
    at_terminals = terminal_voltage(_mean(signals, SUPPLY_VOLTAGE, span), meters, context)
    voltage = at_terminals if at_terminals is not None else meters.get("supply_voltage")
    current = _surer(_mean(signals, SUPPLY_CURRENT, span), meters.get("supply_current"))
    if voltage is None or current is None:
        return None
    captured = signals.supply_power(span)
    if captured is None:
        return voltage * current
    # What of the power comes from voltage and current moving together shows only in the capture.
    apart = signals.mean(SUPPLY_VOLTAGE, span) * signals.mean(SUPPLY_CURRENT, span)
    return voltage * current + float((captured - apart).nominal_value)


def _mean(signals: Signals, signal: str, span: Span) -> UFloat | None:
    return signals.mean(signal, span) if signals.has(signal) else None


def _surer(first: UFloat | None, second: UFloat | None) -> UFloat | None:
    """The one with the smaller uncertainty, of those that are known."""
    known = [value for value in (first, second) if value is not None]
    return min(known, key=lambda value: float(value.std_dev)) if known else None


def _surer_reading(signals: Signals, meters: Meters, span: Span) -> UFloat | None:
    """The supply current that was read back, where it is surer than the captured one."""
    captured, read = _mean(signals, SUPPLY_CURRENT, span), meters.get("supply_current")
    return read if captured is not None and read is not None and read.std_dev < captured.std_dev else None


def _with_surer_current(figures: list[Figure], meters: Meters) -> list[Figure]:
    """The supply current as it was read back, where it is surer than the captured one or nothing captured it."""
    name = "supply_current"
    captured = [figure for figure in figures if figure.name == name]
    for read in meters.figures(name, name, "A"):
        if all(_is_surer(read, figure) for figure in captured):
            figures = [figure for figure in figures if figure.name != name] + [read]
    return figures


def _is_surer(one: Figure, other: Figure) -> bool:
    return (one.expanded_uncertainty or 0.0) < (other.expanded_uncertainty or 0.0)
