"""Sine parameters by least squares, with the frequency known (three parameters) or sought (four): IEEE Std 1057.

The model is A cos(w t + phase) + offset with t = 0 at the first sample. The four-parameter fit starts from the peak
of a spectrum near the frequency it is told, then takes Gauss-Newton steps in all four parameters.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchctl.errors import RecordTooShort, SampledTooSlowly, SilentRecord, WrongFrequency
from benchctl.measure.signal.phasors import Phasors
from benchctl.measure.signal.products import inner_product
from benchctl.measure.signal.record import Samples, finite

# Generator and oscilloscope differ by parts in 1e4, a start value by hand is 2 % off; beyond this it is another tone.
_FREQUENCY_TOLERANCE = 0.05
_SEARCHABLE_CYCLES = 8.0  # below this the whole search range lies within one spectral line
_MOST_STEPS = 30
_BLOCKS = 64  # a record is cut into so many to see the lines beside a tone
_BESIDE = 8  # so many on either side, without those next to it, tell the noise there to an eighth
_SETTLED_RAD = 1e-9  # a step that turns the ends of the record by less changes nothing that is stored
_SAMPLES_A_CYCLE = 8.0  # that the coarse search keeps


@dataclass(frozen=True)
class SineFit:
    """amplitude * cos(2 pi frequency t + phase) + offset; t = 0 at the first sample. Residual as rms."""

    amplitude: float
    frequency_hz: float
    phase_rad: float
    offset: float
    residual_rms: float

    @property
    def rms(self) -> float:
        return self.amplitude / math.sqrt(2.0)


def fit_sine(values: Samples, interval_s: float, frequency_hz: float) -> SineFit:
    """Three-parameter fit at a known frequency; `values` has shape (n,).

    Raises:
        RecordTooShort: fewer than four samples.
        SampledTooSlowly: the frequency is not below half the sample rate.
        UnreadableRecord: a value is NaN or infinite.
    """
    return fit_and_residual(values, interval_s, frequency_hz)[0]


def fit_and_residual(values: Samples, interval_s: float, frequency_hz: float) -> tuple[SineFit, Samples]:
    """The three-parameter fit, and what it leaves of the record, shape (n,)."""
    record = _usable(values, interval_s, frequency_hz)
    phasors = Phasors(record.size, 2.0 * math.pi * frequency_hz * interval_s)
    cosine, sine, offset = _linear(phasors, record)
    residual = phasors.subtract(record, cosine, sine, offset)
    phase_rad = _phase(phasors, cosine, sine, interval_s, frequency_hz)
    rms = math.sqrt(inner_product(residual, residual) / record.size)
    return SineFit(math.hypot(cosine, sine), frequency_hz, phase_rad, offset, rms), residual


def fit_phase(values: Samples, interval_s: float, frequency_hz: float) -> float:
    """The phase of the three-parameter fit, in radians at the first sample, without what else a fit tells.

    Raises:
        As `fit_sine`.
    """
    record = _usable(values, interval_s, frequency_hz)
    phasors = Phasors(record.size, 2.0 * math.pi * frequency_hz * interval_s)
    cosine, sine, _ = _linear(phasors, record)
    return _phase(phasors, cosine, sine, interval_s, frequency_hz)


def _linear(phasors: Phasors, record: Samples) -> tuple[float, float, float]:
    """A, B, C of A cos wk + B sin wk + C. Normal equations lose half the digits of a record shorter than a cycle;
    fitting what is left returns them."""
    normal = _normal_matrix(phasors)
    first = _solve_linear(phasors, normal, record)
    correction = _solve_linear(phasors, normal, phasors.subtract(record, *first))
    cosine, sine, offset = (first + correction).tolist()
    return cosine, sine, offset


def _phase(phasors: Phasors, cosine: float, sine: float, interval_s: float, frequency_hz: float) -> float:
    """At the first sample."""
    return _wrapped(math.atan2(-sine, cosine) - phasors.middle * 2.0 * math.pi * frequency_hz * interval_s)


def fit_with_noise(values: Samples, interval_s: float, frequency_hz: float) -> tuple[SineFit, float]:
    """The fit, and the standard uncertainty of its amplitude by noise: that of white noise with the residual's rms, or
    more where the noise near the tone is stronger, as that of an amplifier is in a record of a much wider band.

    Raises:
        As `fit_sine`.
    """
    fit, residual = fit_and_residual(values, interval_s, frequency_hz)
    white = fit.residual_rms * math.sqrt(2.0 / residual.size)
    return fit, max(white, _near(residual, interval_s, frequency_hz))


def _near(residual: Samples, interval_s: float, frequency_hz: float) -> float:
    """The standard uncertainty of an amplitude by the lines beside its own: noise of a density gives each of them an
    amplitude whose mean square is twice the variance of the fitted one."""
    length = residual.size // _BLOCKS
    if length < 1:
        return 0.0
    samples = length * _BLOCKS
    turns = np.exp(-2j * math.pi * frequency_hz * interval_s * np.arange(samples))
    blocks = (residual[:samples] * turns).reshape(_BLOCKS, length).mean(axis=1)
    lines = 2.0 * np.abs(np.fft.fft(blocks)) / _BLOCKS
    beside = np.concatenate((lines[2 : _BESIDE + 2], lines[-_BESIDE - 1 : -1]))
    return float(np.sqrt(np.mean(beside**2) / 2.0))


def find_frequency(values: Samples, interval_s: float, start_hz: float) -> float:
    """The frequency of the four-parameter fit, in Hz; `fit_sine` at this frequency gives the other three.

    `start_hz` may be off by 5 %. `values` has shape (n,).

    Raises:
        RecordTooShort, SampledTooSlowly, UnreadableRecord: as `fit_sine`.
        SilentRecord: the record is constant.
        WrongFrequency: the strongest tone is elsewhere, or the fit does not settle near the start.
    """
    record = _usable(values, interval_s, start_hz)
    if record.min() == record.max():
        raise SilentRecord("the record is constant: it holds no tone")
    frequency_hz = _settle(record, interval_s, _coarse_frequency(record, interval_s, start_hz))
    if not abs(frequency_hz - start_hz) <= _FREQUENCY_TOLERANCE * start_hz:
        raise WrongFrequency(f"the fit went from {start_hz:.6g} Hz to {frequency_hz:.6g} Hz")
    return frequency_hz


def _usable(values: Samples, interval_s: float, frequency_hz: float) -> Samples:
    record = finite(values)
    if record.size < 4:
        raise RecordTooShort(f"{record.size} samples cannot fix a sine")
    if not 0.0 < frequency_hz * interval_s < 0.5:
        raise SampledTooSlowly(f"{frequency_hz:.6g} Hz is not between zero and half of {1 / interval_s:.6g} Sa/s")
    return record


def _solve_linear(phasors: Phasors, normal: Samples, record: Samples) -> Samples:
    """[A, B, C] of A cos wk + B sin wk + C by the normal equations, k from the middle of the record."""
    projected, _ = phasors.project(record)
    right = np.array([projected.real, projected.imag, record.sum()])
    return np.linalg.solve(normal, right)


def _normal_matrix(phasors: Phasors) -> Samples:
    once, twice, count = phasors.moment(0), phasors.moment(0, 2), phasors.count
    return np.array(
        [
            [(count + twice.real) / 2.0, twice.imag / 2.0, once.real],
            [twice.imag / 2.0, (count - twice.real) / 2.0, once.imag],
            [once.real, once.imag, count],
        ]
    )


def _settle(record: Samples, interval_s: float, frequency_hz: float) -> float:
    """Gauss-Newton on the frequency, the three linear parameters solved again at each step."""
    total = float(record.sum())
    for _ in range(_MOST_STEPS):
        phasors = Phasors(record.size, 2.0 * math.pi * frequency_hz * interval_s)
        turn = _turn_at_the_ends(phasors, record, total)
        frequency_hz += turn / phasors.unit / (2.0 * math.pi * interval_s)
        if not 0.0 < frequency_hz * interval_s < 0.5:
            break
        if abs(turn) < _SETTLED_RAD:
            return frequency_hz
    raise WrongFrequency(f"no sine near the frequency told settles in {_MOST_STEPS} steps")


def _turn_at_the_ends(phasors: Phasors, record: Samples, total: float) -> float:
    """The step in frequency, as radians at the ends of the record (u = 1)."""
    plain, timed = phasors.project(record)
    normal = _normal_matrix(phasors)
    right = np.array([plain.real, plain.imag, total])
    cosine, sine, _ = np.linalg.solve(normal, right)
    bordered = np.empty((4, 4))
    bordered[:3, :3] = normal
    bordered[3, :3] = bordered[:3, 3] = _slope_products(phasors, cosine, sine)
    bordered[3, 3] = _slope_square(phasors, cosine, sine)
    slope_right = -cosine * timed.imag + sine * timed.real
    return float(np.linalg.solve(bordered, np.append(right, slope_right))[3])


def _slope_products(phasors: Phasors, cosine: float, sine: float) -> NDArray[np.float64]:
    """The frequency's column -A u sin + B u cos against cos, sin and 1; sums of u alone are zero."""
    once, twice = phasors.moment(1), phasors.moment(1, 2)
    return np.array(
        [
            (-cosine * twice.imag + sine * twice.real) / 2.0,
            (cosine * twice.real + sine * twice.imag) / 2.0,
            -cosine * once.imag + sine * once.real,
        ]
    )


def _slope_square(phasors: Phasors, cosine: float, sine: float) -> float:
    twice = phasors.moment(2, 2)
    # Sum of k^2 over k from the middle is n (n^2 - 1) / 12.
    squares = phasors.count * (phasors.count**2 - 1.0) / 12.0 / phasors.unit**2
    squared = (cosine**2 * (squares - twice.real) + sine**2 * (squares + twice.real)) / 2.0
    return float(squared - cosine * sine * twice.imag)


def _coarse_frequency(record: Samples, interval_s: float, start_hz: float) -> float:
    """The strongest line within 5 % of the start, from a spectrum of block means with a Hann window."""
    if record.size * interval_s * start_hz < _SEARCHABLE_CYCLES:
        return start_hz
    block = max(int(1.0 / (_SAMPLES_A_CYCLE * start_hz * interval_s)), 1)
    whole = record.size // block
    means = record[: whole * block].reshape(whole, block).mean(axis=1)
    means -= means.mean()
    spectrum = np.abs(np.fft.rfft(means * np.hanning(whole)))
    line_hz = 1.0 / (whole * block * interval_s)
    peak = int(np.argmax(spectrum[:-1]))
    found_hz = (peak + _peak_offset(spectrum, peak)) * line_hz
    if abs(found_hz - start_hz) > _FREQUENCY_TOLERANCE * start_hz + line_hz:
        raise WrongFrequency(f"the strongest tone is at {found_hz:.6g} Hz, not near {start_hz:.6g} Hz")
    return found_hz


def _peak_offset(spectrum: Samples, peak: int) -> float:
    """Where the top of a parabola through the logarithms of three lines lies, in lines from the middle one."""
    if not 0 < peak < spectrum.size - 1:
        return 0.0
    left, top, right = np.log(np.maximum(spectrum[peak - 1 : peak + 2], np.finfo(np.float64).tiny))
    bend = left - 2.0 * top + right
    return float(0.5 * (left - right) / bend) if bend else 0.0


def _wrapped(angle_rad: float) -> float:
    return math.remainder(angle_rad, 2.0 * math.pi)
