"""Output impedance and damping factor over frequency, from complex voltages into two loads at one unchanged drive.

An inductance at the output turns the phase of the voltage and hardly changes its size, so sizes alone would not show
it: |1 + jx| is 1 + x^2 / 2. The generator's sync output starts each record, so phases of several records compare.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from uncertainties import UFloat, umath

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.analyses.damping_figures import HEAVY, LIGHT, LIGHT_AGAIN, RECORDS, voltages
from benchctl.measure.budget.figure import Figure, from_capture
from benchctl.measure.budget.meters import Readings
from benchctl.measure.signal.record import OUTPUT, Capture
from benchctl.measure.signal.sine import fit_sine
from benchctl.measure.uncertainty import COVERAGE_FACTOR, LoadResistance, exactly, measured, rectangular


@dataclass(frozen=True, kw_only=True)
class DampingSweepContext(IdleContext):
    """As for one frequency; a sine at each of `tones_hz` (second part of the captures' roles -> Hz)."""

    tones_hz: Mapping[str, float]
    light: Mapping[str, LoadResistance]
    heavy: Mapping[str, LoadResistance]


@dataclass(frozen=True)
class Impedance:
    """Real and imaginary part, ohm."""

    real: UFloat
    imaginary: UFloat

    @property
    def size_ohm(self) -> float:
        return math.hypot(float(self.real.nominal_value), float(self.imaginary.nominal_value))

    @property
    def expanded_ohm(self) -> float:
        """U of the size: half of how far it goes while each part goes through its own. Where a part cannot be told from
        zero, the size hardly follows it to first order, so the ends are taken and not the slope."""
        sizes = []
        for part, other in ((self.real, self.imaginary), (self.imaginary, self.real)):
            middle, expanded = abs(float(part.nominal_value)), COVERAGE_FACTOR * float(part.std_dev)
            rest = float(other.nominal_value)
            sizes.append(math.hypot(middle + expanded, rest) - math.hypot(max(middle - expanded, 0.0), rest))
        return math.hypot(*sizes) / 2.0


def role_of(load: str, tone: str) -> str:
    """The role of a record: "heavy 1000 Hz"."""
    return f"{load} {tone}"


def damping_sweep(captures: Mapping[str, Capture], _readings: Readings, context: DampingSweepContext) -> list[Figure]:
    """Captures "light F", "heavy F" and "light again F" of all outputs for each tone F of the context.

    Gives output_impedance per channel and frequency, the size of the complex impedance, and damping_factor per channel,
    frequency and load; bounds where the impedance cannot be told from zero.

    Raises:
        MeasurementError: a record is missing, or the voltages contradict each other.
    """
    if not {role_of(load, tone) for load in RECORDS for tone in context.tones_hz} <= set(captures):
        raise MeasurementError("a record with one of the loads is missing at one of the frequencies")
    figures: list[Figure] = []
    for tone, frequency_hz in context.tones_hz.items():
        at = {load: captures[role_of(load, tone)] for load in RECORDS}
        for channel in at[HEAVY].channels:
            if channel in context.heavy.keys() & (context.light or context.heavy).keys():
                figures += from_capture(_of_channel(at, channel, frequency_hz, context), *(at[r].name for r in RECORDS))
    if not figures:
        raise MeasurementError("no channel has both loads")
    return figures


def _of_channel(
    at: Mapping[str, Capture], channel: str, frequency_hz: float, context: DampingSweepContext
) -> list[Figure]:
    light, heavy = context.light.get(channel), context.heavy[channel]
    light_v, heavy_v = voltages(at, channel, frequency_hz, context.accuracy)
    phase = _phase(at, OUTPUT + channel, frequency_hz)
    conductance = exactly(0.0) if light is None else 1.0 / light.resistance()
    found = complex_impedance(light_v / heavy_v, phase, conductance, 1.0 / heavy.resistance())
    figures = [_figure("output_impedance", found, None, channel)]
    for load in (light, heavy):
        if load is not None:
            figures.append(_figure("damping_factor", found, load.nominal_ohm, channel))
    return [replace(figure, frequency_hz=frequency_hz) for figure in figures]


def complex_impedance(ratio: UFloat, phase_rad: UFloat, light_s: UFloat, heavy_s: UFloat) -> Impedance:
    """Z = (r - 1) / (G2 - r G1), r the voltage with the lighter load of conductance G1 over that with the heavier one,
    of size `ratio` and angle `phase_rad`: Ohm's law for a source into two loads."""
    real, imaginary = ratio * umath.cos(phase_rad), ratio * umath.sin(phase_rad)
    below_real, below_imaginary = heavy_s - real * light_s, -imaginary * light_s
    square = below_real**2 + below_imaginary**2
    return Impedance(
        real=((real - 1.0) * below_real + imaginary * below_imaginary) / square,
        imaginary=(imaginary * below_real - (real - 1.0) * below_imaginary) / square,
    )


def _phase(at: Mapping[str, Capture], signal: str, frequency_hz: float) -> UFloat:
    """By how much the voltage with the lighter load leads that with the heavier."""
    first, heavy, second = (_angle(at[load], signal, frequency_hz) for load in (LIGHT, HEAVY, LIGHT_AGAIN))
    turned = _wrapped(second - first)
    light = first + turned / 2.0 + rectangular(0.0, abs(float(turned.nominal_value)) / 2.0)
    return _wrapped(light - heavy)


def _angle(capture: Capture, signal: str, frequency_hz: float) -> UFloat:
    """Against the trigger, whose place within a sample nobody knows."""
    fit = fit_sine(capture.trace(signal).values(), capture.interval_s, frequency_hz)
    if not fit.amplitude > 0.0:
        raise MeasurementError(f"'{signal}' in capture '{capture.name}' is silent")
    radians_per_s = 2.0 * math.pi * frequency_hz
    noise_rad = fit.residual_rms * math.sqrt(2.0 / capture.samples) / fit.amplitude
    trigger_rad = radians_per_s * float(rectangular(0.0, capture.interval_s / 2.0).std_dev)
    return measured(fit.phase_rad - radians_per_s * capture.start_s, math.hypot(noise_rad, trigger_rad))


def _wrapped(angle: UFloat) -> UFloat:
    return angle - 2.0 * math.pi * round(float(angle.nominal_value) / (2.0 * math.pi))


def _figure(name: str, found: Impedance, load_ohm: float | None, channel: str) -> Figure:
    size, expanded = found.size_ohm, found.expanded_ohm
    if size <= expanded and load_ohm is None:
        return Figure(name, size + expanded, "ohm", channel=channel, bound="at most")
    if load_ohm is not None and size <= expanded:
        lowest = load_ohm / (size + expanded)
        return Figure(name, lowest, "1", channel=channel, bound="at least", load_ohm=load_ohm)
    if load_ohm is None:
        return Figure(name, size, "ohm", expanded, COVERAGE_FACTOR, channel)
    factor = load_ohm / size
    return Figure(name, factor, "1", factor * expanded / size, COVERAGE_FACTOR, channel, load_ohm=load_ohm)
