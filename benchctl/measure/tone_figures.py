"""The figures of a steady tone."""

from __future__ import annotations

import math

import numpy as np
from uncertainties import UFloat

from benchctl.measure.burst_figures import distortion_figure
from benchctl.measure.context import ContinuousContext
from benchctl.measure.distortion import ToneSpectrum, harmonic_distortion, noise_and_distortion, tone_spectrum
from benchctl.measure.draw import efficiency_figures, supply_figures
from benchctl.measure.figure import Figure, figure_of, from_capture
from benchctl.measure.meters import Meters
from benchctl.measure.power import by_channel
from benchctl.measure.record import OUTPUT, Capture
from benchctl.measure.signals import Signals
from benchctl.measure.supply import Span, whole_cycles


def tone_figures(capture: Capture, meters: Meters, context: ContinuousContext) -> list[Figure]:
    """Power, voltages and distortion at each channel, supply draw and efficiency.

    Where the supply was both captured and read back, the figure is the one with the smaller uncertainty.
    """
    signals = Signals(capture, context.accuracy, context.loads)
    span = whole_cycles(capture, context.frequency_hz)
    powers = {channel: signals.mean_power(channel, span) for channel in signals.channels}
    figures = [
        figure_of("continuous_power", power, "W", channel)
        for channel, power in by_channel(powers, bridged=context.bridged).items()
    ]
    for channel in signals.channels:
        figures += _channel_figures(signals, span, channel, context)
    supply_w = _surer(signals.supply_power(span), meters.supply_power())
    output_w = sum(powers.values()) if signals.has_every_load else None
    figures += efficiency_figures(output_w, supply_w) + supply_figures(signals, span)
    return _with_readings(from_capture(figures, capture.name), meters)


def _channel_figures(signals: Signals, span: Span, channel: str, context: ContinuousContext) -> list[Figure]:
    signal = OUTPUT + channel
    trace = signals.capture.trace(signal)
    values = trace.values()
    tone = tone_spectrum(values, signals.capture.interval_s, context.frequency_hz)
    rms = signals.rms(signal, span)
    peak = signals.single(signal, max(float(values.max()), -float(values.min())), _sample_noise(tone))
    figures = [
        figure_of("output_rms", rms, "V", channel),
        figure_of("output_peak", peak, "V", channel),
        figure_of("crest_factor", peak / rms, "1", channel),
        distortion_figure("thd_n", noise_and_distortion(tone, context.band_hz, trace.step), channel),
    ]
    if 2.0 * tone.fit.frequency_hz <= context.band_hz:  # above it no harmonic lies within the band
        figures.append(distortion_figure("thd", harmonic_distortion(tone, context.band_hz, trace.step), channel))
    return figures


def _sample_noise(tone: ToneSpectrum) -> float:
    """Noise of a single sample: all of the spectrum at the density between its tones."""
    return math.sqrt(float(np.median(tone.power)) / math.log(2.0) * tone.power.size)


def _surer(first: UFloat | None, second: UFloat | None) -> UFloat | None:
    """The one with the smaller uncertainty, of those that are known."""
    known = [value for value in (first, second) if value is not None]
    return min(known, key=lambda value: float(value.std_dev)) if known else None


def _with_readings(figures: list[Figure], meters: Meters) -> list[Figure]:
    """Supply figures replaced by those read back where that is surer, or added where nothing was captured."""
    for name, unit in (("supply_current", "A"), ("supply_voltage", "V")):
        for read in meters.figures(name, name, unit):
            captured = [figure for figure in figures if figure.name == name]
            if all(_uncertainty(read) < _uncertainty(figure) for figure in captured):
                figures = [figure for figure in figures if figure.name != name] + [read]
    return figures


def _uncertainty(figure: Figure) -> float:
    return figure.expanded_uncertainty or 0.0
