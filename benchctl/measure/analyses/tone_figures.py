"""The figures of a steady tone."""

from __future__ import annotations

import math
from collections.abc import Iterator

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
from benchctl.measure.carrier.folding import Unfolded, unfolded
from benchctl.measure.carrier.low_pass import low_passed
from benchctl.measure.carrier.residue import residue
from benchctl.measure.signal.distortion import (
    ABOVE_NOISE,
    ToneSpectrum,
    harmonic_distortion,
    median_density,
    noise_and_distortion,
    tone_spectrum,
)
from benchctl.measure.signal.peaks import Blur, Peak, half_span, lowest_and_highest, missed_by_samples, outermost
from benchctl.measure.signal.record import OUTPUT, SUPPLY_CURRENT, SUPPLY_VOLTAGE, Capture, Trace
from benchctl.measure.signal.supply import Span, swing, whole_cycles
from benchctl.measure.signal.tops import ends_of_tone

_SWINGS_BELOW_HZ = 200.0  # above it a reading over a period of the mains averages over eight swings and more


def tone_figures(
    capture: Capture,
    meters: Meters,
    context: ContinuousContext,
    rest: Capture | None = None,
    check: Capture | None = None,
) -> list[Figure]:
    """Power, voltages and distortion at each channel, supply draw and efficiency; with a record of the supply at
    `rest`, also of what the tone draws beyond that. `check` is a record at another sample rate, where a carrier may be
    folded into the first.

    The supply's current is the same all along its leads: where it was both captured and read back, the surer one is
    the figure, and its peak is that and what the record rises above its own mean. Its voltage is not: what the supply
    reads at its own output is a figure of its own.
    """
    signals = Signals(low_passed(capture, context.low_pass_hz), context.accuracy, context.loads)
    span = whole_cycles(capture, context.frequency_hz)
    if signals.has(SUPPLY_CURRENT) and context.frequency_hz < _SWINGS_BELOW_HZ:
        meters = meters.with_swing("supply_current", swing(capture.trace(SUPPLY_CURRENT), span, capture.interval_s))
    powers = {channel: signals.mean_power(channel, span) for channel in signals.channels}
    shares = by_channel(powers, is_every_load=signals.has_every_load)
    figures = [figure_of("continuous_power", power, "W", channel) for channel, power in shares.items()]
    for channel in signals.channels:
        tone = _tone(capture, channel, context)
        figures += _voltage_figures(signals, span, channel, tone, context)
        figures += _distortion_figures(capture, channel, tone, context, check)
        figures += [] if context.low_pass_hz is None else _carrier_figures(signals, channel, tone, context)
    output_w = sum(powers.values()) if signals.has_every_load else None
    figures += efficiency_figures(output_w, supply_power(signals, meters, span, context))
    figures += marginal_figures(output_w, signals, span, rest) + ampere_figures(
        output_w, _surer(_mean(signals, SUPPLY_CURRENT, span), meters.get("supply_current"))
    )
    figures += supply_figures(signals, span, _surer_reading(signals, meters, span))
    surer = _with_surer_current(from_capture(figures, capture.name), meters)
    return with_read_voltages(surer, meters, context)


def _tone(capture: Capture, channel: str, context: ContinuousContext) -> ToneSpectrum:
    trace = capture.trace(OUTPUT + channel)
    return tone_spectrum(trace.values(), capture.interval_s, context.frequency_hz, trace.step)


def _voltage_figures(
    signals: Signals, span: Span, channel: str, tone: ToneSpectrum, context: ContinuousContext
) -> Iterator[Figure]:
    """The crest factor is that of half of peak to peak, which an error of zero does not move."""
    signal = OUTPUT + channel
    rms = signals.rms(signal, span)
    ends = _ends(signals.capture.trace(signal), tone, context)
    peak, half = outermost(*ends), half_span(*ends)
    yield figure_of("output_rms", rms, "V", channel)
    yield figure_of("output_peak", signals.on(signal, peak.value, peak.uncertainty), "V", channel)
    yield figure_of("crest_factor", signals.half_span(signal, half) / rms, "1", channel)


def _ends(trace: Trace, tone: ToneSpectrum, context: ContinuousContext) -> tuple[Peak, Peak]:
    """The lowest and the highest value; of a record without its carrier no ripple rides on them, and little noise."""
    noise = _sample_noise(tone)
    if trace.within is not None:
        part = min(context.band_hz / tone.nyquist_hz, 1.0)
        blur = Blur.of_band(noise, trace.step, part, tone.ripple_on_tops)
        return lowest_and_highest(trace.within, blur)
    missed = missed_by_samples(_most_missed(tone, context.band_hz))
    lowest, highest = ends_of_tone(trace.values(), tone, Blur.of_samples(noise, trace.step))
    return lowest.moved(-missed.value, missed.uncertainty), highest.moved(missed.value, missed.uncertainty)


def _distortion_figures(
    capture: Capture, channel: str, tone: ToneSpectrum, context: ContinuousContext, check: Capture | None
) -> Iterator[Figure]:
    thd_n = noise_and_distortion(tone, context.band_hz)
    seen = Unfolded(thd_n) if context.low_pass_hz is None else unfolded(thd_n, capture.interval_s, None)
    if check is not None and seen.doubt:
        other = noise_and_distortion(_tone(check, channel, context), context.band_hz)
        seen = unfolded(thd_n, capture.interval_s, (other, check.interval_s))
    yield distortion_figure("thd_n", seen.distortion, channel, seen.doubt)
    if 2.0 * tone.fit.frequency_hz <= context.band_hz:  # above it no harmonic lies within the band
        yield distortion_figure("thd", harmonic_distortion(tone, context.band_hz), channel)


def _carrier_figures(
    signals: Signals, channel: str, tone: ToneSpectrum, context: ContinuousContext
) -> Iterator[Figure]:
    found = residue(tone, context.band_hz)
    if found is None:
        return
    rms_v = signals.on_rms(OUTPUT + channel, found.rms_v.nominal_value, 0.0, found.rms_v.std_dev)
    if found.is_bound:
        yield Figure("carrier_residue", float(rms_v.nominal_value), "V", channel=channel, bound="at most")
        return
    yield figure_of("carrier_residue", rms_v, "V", channel)
    if found.frequency_hz is not None:
        yield figure_of("carrier_frequency", found.frequency_hz, "Hz", channel)


def _sample_noise(tone: ToneSpectrum) -> float:
    """Noise of a single sample: all of the spectrum at the density between its tones."""
    return math.sqrt(median_density(tone.power) * tone.power.size)


def _most_missed(tone: ToneSpectrum, band_hz: float) -> float:
    """By how much samples may miss the tops of what is above the band, such as the residue of a carrier: a ripple of
    amplitude a and frequency f by a (1 - cos(pi f T)) at most, T being the interval."""
    density = median_density(tone.power)
    frequencies_hz = tone.line_hz * np.arange(tone.power.size)
    above = (frequencies_hz > band_hz) & (tone.power > ABOVE_NOISE * density)
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
