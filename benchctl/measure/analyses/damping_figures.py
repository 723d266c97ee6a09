"""Output impedance and damping factor of each channel, from its voltage into two loads at one unchanged drive.

The heavier load comes between two records with the lighter one, so that what drifts meanwhile shows as a difference.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from uncertainties import UFloat

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.budget.figure import Figure, figure_of, from_capture
from benchctl.measure.budget.linearity import on_ratio
from benchctl.measure.budget.meters import Readings
from benchctl.measure.signal.output_impedance import OutputImpedance, output_impedance
from benchctl.measure.signal.record import OUTPUT, Capture
from benchctl.measure.signal.sine import fit_with_noise
from benchctl.measure.uncertainty import Accuracies, ErrorOf, LoadResistance, measured, rectangular

LIGHT, HEAVY, LIGHT_AGAIN = "light", "heavy", "light again"
RECORDS = (LIGHT, HEAVY, LIGHT_AGAIN)


@dataclass(frozen=True, kw_only=True)
class DampingContext(IdleContext):
    """A sine of `frequency_hz` into `light` and into `heavy` loads (amplifier channel -> load); `light` is empty where
    there was no load at all."""

    frequency_hz: float
    light: Mapping[str, LoadResistance]
    heavy: Mapping[str, LoadResistance]


def damping(captures: Mapping[str, Capture], _readings: Readings, context: DampingContext) -> list[Figure]:
    """Captures "light", "heavy" and "light again" of all outputs.

    Gives output_impedance per channel, and damping_factor per channel and load; bounds where the impedance cannot be
    told from zero.

    Raises:
        MeasurementError: a record is missing, or the voltages contradict each other.
    """
    if not set(RECORDS) <= set(captures):
        raise MeasurementError("output impedance needs a record with the lighter load before and after the heavier")
    loaded = context.heavy.keys() & (context.light or context.heavy).keys()
    channels = [channel for channel in captures[HEAVY].channels if channel in loaded]
    if not channels:
        raise MeasurementError("no channel has both loads")
    figures = [figure for channel in channels for figure in _of_channel(captures, channel, context)]
    return from_capture(figures, *(captures[role].name for role in RECORDS))


def _of_channel(captures: Mapping[str, Capture], channel: str, context: DampingContext) -> list[Figure]:
    light, heavy = context.light.get(channel), context.heavy[channel]
    light_v, heavy_v = voltages(captures, channel, context.frequency_hz, context.accuracy)
    light_ohm = math.inf if light is None else light.resistance()
    found = output_impedance(light_v, light_ohm, heavy_v, heavy.resistance())
    factors = [_damping_factor(found, load.nominal_ohm, channel) for load in (light, heavy) if load is not None]
    return [_impedance(found, channel), *factors]


def voltages(
    captures: Mapping[str, Capture], channel: str, frequency_hz: float, accuracy: Mapping[str, Accuracies]
) -> tuple[UFloat, UFloat]:
    """RMS with the lighter and with the heavier load. One chain of instruments reads both, so its error is one."""
    signal = OUTPUT + channel
    # The range is the same for all three, so an error that goes with it is the same as well.
    full_scale = max(captures[role].trace(signal).full_scale for role in RECORDS)
    chain = ErrorOf(accuracy.get(signal, ()), full_scale)
    first, heavy, second = (_rms_v(captures[role], signal, frequency_hz) for role in RECORDS)
    drift = rectangular(0.0, abs(float((first - second).nominal_value)) / 2.0)
    light = (first + second) / 2.0 + drift
    amplitudes = math.sqrt(2.0) * light.nominal_value, math.sqrt(2.0) * heavy.nominal_value
    traces = captures[LIGHT].trace(signal), captures[HEAVY].trace(signal)
    ratio = on_ratio(heavy / light, amplitudes, traces, accuracy.get(signal, ()))
    seen = chain.on(light)
    return seen, seen * ratio


def _rms_v(capture: Capture, signal: str, frequency_hz: float) -> UFloat:
    fit, noise = fit_with_noise(capture.trace(signal).values(), capture.interval_s, frequency_hz)
    return measured(fit.rms, noise / math.sqrt(2.0))


def _impedance(found: OutputImpedance, channel: str) -> Figure:
    if found.is_bound:
        return Figure("output_impedance", found.highest_ohm, "ohm", channel=channel, bound="at most")
    return figure_of("output_impedance", found.impedance, "ohm", channel)


def _damping_factor(found: OutputImpedance, load_ohm: float, channel: str) -> Figure:
    if found.is_bound:
        lowest = found.lowest_damping_factor(load_ohm)
        return Figure("damping_factor", lowest, "1", channel=channel, bound="at least", load_ohm=load_ohm)
    return replace(figure_of("damping_factor", found.damping_factor(load_ohm), "1", channel), load_ohm=load_ohm)
