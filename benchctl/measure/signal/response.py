"""Gain and phase over frequency from stepped sines: band edges and filter slopes."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchctl.errors import MeasurementError
from benchctl.measure.signal.sine import SineFit

Array = NDArray[np.float64]

HALF_POWER_DB = 10.0 * math.log10(2.0)  # the "-3 dB" of a band edge
_DB_AN_OCTAVE_AN_ORDER = 6  # common name of 20 lg 2 = 6.0206 dB
_HIGHEST_ORDER = 8  # 48 dB per octave: common practice knows no steeper crossover

# A window one octave wide that begins an octave beyond the band edge shows 11.8 dB of a second-order Butterworth filter
# and 24.1 dB of a fourth-order one.
_CLEAR_OF_EDGE_OCTAVES = 1.0
_FEWEST_IN_WINDOW = 3
_SHORTEST_WINDOW_OCTAVES = 2.0 / 3.0  # three points of a sweep in third-octaves
_DROWNED_DB = 3.0  # standard uncertainty of a gain that is three times the noise
_LEAST_UNCERTAINTY_DB = 0.01  # no gain is known better against its neighbours; keeps the weights finite
_DB_OF_A_RATIO = 20.0 / math.log(10.0)  # dB for a relative change of 1, where it is small
_SLACK_OCTAVES = 0.02  # nominal frequencies lie up to 1 % beside the exact ones


@dataclass(frozen=True)
class Response:
    """Complex gain (output over input) at rising frequencies; both of shape (n,).

    `scatter_db` is the standard uncertainty of one gain against its neighbours (not of all together). `noise_gain` is
    the noise of the measurement as a gain: for a sine fit of n samples, residual rms * sqrt(2 / n) over the amplitude
    of the input (the bound of Rife and Boorstyn, from memory).
    """

    frequencies_hz: Array
    gains: NDArray[np.complex128]
    scatter_db: float = 0.0
    noise_gain: float = 0.0

    @classmethod
    def of(
        cls,
        frequencies_hz: Sequence[float],
        gains: Sequence[complex],
        scatter_db: float = 0.0,
        noise_gain: float = 0.0,
    ) -> Response:
        """A response from points in any order.

        Raises:
            MeasurementError: fewer than two points, one frequency twice, or a gain that is zero or no number.
        """
        order = np.argsort(frequencies_hz)
        rising = np.asarray(frequencies_hz, dtype=np.float64)[order]
        if rising.size < 2 or rising.size != len(gains) or not np.all(np.diff(rising) > 0.0) or not rising[0] > 0.0:
            raise MeasurementError("a response needs a gain at each of two or more different frequencies above zero")
        sorted_gains = np.asarray(gains, dtype=np.complex128)[order]
        if not np.all(np.isfinite(sorted_gains)) or not np.all(np.abs(sorted_gains) > 0.0):
            raise MeasurementError("a gain of the response is zero or not a number")
        return cls(rising, sorted_gains, scatter_db, noise_gain)

    @property
    def gain_db(self) -> Array:
        """20 lg |gain|, shape (n,)."""
        return np.asarray(20.0 * np.log10(np.abs(self.gains)))

    @property
    def uncertainty_db(self) -> Array:
        """Standard uncertainty of each gain against its neighbours in dB, shape (n,)."""
        return np.asarray(np.hypot(self.scatter_db, _DB_OF_A_RATIO * self.noise_gain / np.abs(self.gains)))

    def gain_db_at(self, frequency_hz: float) -> float:
        """Gain in dB at a frequency, by a cubic through its four neighbours on a logarithmic axis.

        Raises:
            MeasurementError: the frequency is outside the response.
        """
        if not self.frequencies_hz[0] <= frequency_hz <= self.frequencies_hz[-1]:
            raise MeasurementError(f"the response does not reach {frequency_hz:g} Hz")
        return _cubic(_octaves(self.frequencies_hz), self.gain_db, math.log2(frequency_hz))

    def interpolation_doubt_db(self, frequency_hz: float) -> float:
        """By how much a cubic through other neighbours would differ at a frequency within the response."""
        octaves, at = _octaves(self.frequencies_hz), math.log2(frequency_hz)
        ways = [_cubic(octaves, self.gain_db, at, shift) for shift in (-1, 0, 1)]
        return max(ways) - min(ways)


@dataclass(frozen=True)
class Passband:
    """Where gain is 3.01 dB below that at the reference; None where the response ends before it falls so far."""

    lower_hz: float | None
    upper_hz: float | None


@dataclass(frozen=True)
class Slope:
    """The steepness of a filter far in its stop band, with its expanded uncertainty (k = 2)."""

    db_per_octave: float
    expanded_uncertainty: float

    def which(self, *named_db_per_octave: int) -> int | None:
        """Of two or more named slopes (12 and 24 dB per octave, say) the one that this is for certain, or None.

        Certain: the measured slope, give or take its uncertainty, is on that one's side of half way to its neighbours.
        """
        near, *others = sorted(named_db_per_octave, key=lambda named: abs(named - self.db_per_octave))
        reach = min(abs(other - near) for other in others) / 2.0
        return near if abs(self.db_per_octave - near) + self.expanded_uncertainty < reach else None

    @property
    def order(self) -> int | None:
        """The order of the filter, a whole number of 6 dB per octave; None where it cannot be told for certain."""
        named = self.which(*(_DB_AN_OCTAVE_AN_ORDER * order for order in range(_HIGHEST_ORDER + 2)))
        return named // _DB_AN_OCTAVE_AN_ORDER if named else None


def transfer(output: SineFit, source: SineFit) -> complex:
    """Complex gain from the fits of two traces of one record, sampled at the same instants.

    Raises:
        MeasurementError: the source is silent.
    """
    if not source.amplitude > 0.0:
        raise MeasurementError("a gain needs a signal at the input")
    return cmath.rect(output.amplitude / source.amplitude, output.phase_rad - source.phase_rad)


def passband(response: Response, reference_hz: float = 1000.0) -> Passband:
    """The band about `reference_hz` (for a filtered output: a frequency well inside its band).

    Raises:
        MeasurementError: the response does not include the reference.
    """
    reference_db = response.gain_db_at(reference_hz)
    octaves, fall_db = _octaves(response.frequencies_hz), response.gain_db - (reference_db - HALF_POWER_DB)
    centre = math.log2(reference_hz)
    upper = _first_crossing(octaves, fall_db, centre)
    lower = _first_crossing(-octaves[::-1], fall_db[::-1], -centre)
    return Passband(
        lower_hz=None if lower is None else 2.0**-lower,
        upper_hz=None if upper is None else 2.0**upper,
    )


def upper_slope(response: Response, band: Passband) -> Slope | None:
    """The slope of a low-pass above the band's upper edge; None where the response shows too little of it."""
    if band.upper_hz is None:
        return None
    beyond = _octaves(response.frequencies_hz) - math.log2(band.upper_hz)
    return _slope(beyond, response.gain_db, response.uncertainty_db)


def lower_slope(response: Response, band: Passband) -> Slope | None:
    """The slope of a high-pass below the band's lower edge; None where the response shows too little of it."""
    if band.lower_hz is None:
        return None
    beyond = math.log2(band.lower_hz) - _octaves(response.frequencies_hz)
    return _slope(beyond[::-1], response.gain_db[::-1], response.uncertainty_db[::-1])


def _octaves(frequencies_hz: Array) -> Array:
    return np.asarray(np.log2(frequencies_hz))


def _cubic(octaves: Array, values: Array, at: float, shift: int = 0) -> float:
    """Lagrange's polynomial through the four (or fewer) points about `at`, or so many points higher up."""
    first = int(np.clip(np.searchsorted(octaves, at) - 2 + shift, 0, max(octaves.size - 4, 0)))
    x, y = octaves[first : first + 4], values[first : first + 4]
    total = 0.0
    for index in range(x.size):
        others = np.delete(x, index)
        total += float(y[index] * np.prod((at - others) / (x[index] - others)))
    return total


def _first_crossing(octaves: Array, fall_db: Array, start: float) -> float | None:
    """Where beyond `start`, going up, a curve that is above zero there first meets zero."""
    beyond = np.flatnonzero((octaves > start) & (fall_db <= 0.0))
    if beyond.size == 0:
        return None
    low, high = max(start, float(octaves[beyond[0] - 1])) if beyond[0] else start, float(octaves[beyond[0]])
    for _ in range(50):
        middle = (low + high) / 2.0
        if _cubic(octaves, fall_db, middle) > 0.0:
            low = middle
        else:
            high = middle
    return high


def _slope(beyond: Array, gain_db: Array, uncertainty_db: Array) -> Slope | None:
    """The slope of an octave that begins one octave or more beyond the edge: nearer it is not yet the filter's own.

    Where the response comes near its noise it ends, and a window that this cuts short may be two thirds of an octave.
    Of all windows one whose order is certain goes first, then the one with the least uncertainty.
    """
    beyond, gain_db, uncertainty_db = _out_of_noise(beyond, gain_db, uncertainty_db)
    slopes = []
    for start in beyond[beyond >= _CLEAR_OF_EDGE_OCTAVES - _SLACK_OCTAVES]:
        inside = (beyond >= start) & (beyond <= start + 1.0 + _SLACK_OCTAVES)
        x = beyond[inside]
        if x.size >= _FEWEST_IN_WINDOW and x[-1] - x[0] >= _SHORTEST_WINDOW_OCTAVES - _SLACK_OCTAVES:
            slopes.append(_fitted_slope(x, gain_db[inside], uncertainty_db[inside]))
    return max(slopes, key=lambda slope: (slope.order is not None, -slope.expanded_uncertainty), default=None)


def _out_of_noise(beyond: Array, gain_db: Array, uncertainty_db: Array) -> tuple[Array, Array, Array]:
    """The points from the edge outward, up to the first that noise makes doubtful."""
    drowned = np.flatnonzero((beyond > 0.0) & (uncertainty_db > _DROWNED_DB))
    end = int(drowned[0]) if drowned.size else beyond.size
    return beyond[:end], gain_db[:end], uncertainty_db[:end]


def _fitted_slope(x: Array, gain_db: Array, uncertainty_db: Array) -> Slope:
    """The fall in dB per octave of a straight line, by weighted least squares; what strays from it counts."""
    weights = 1.0 / np.maximum(uncertainty_db, _LEAST_UNCERTAINTY_DB) ** 2
    centred = x - np.average(x, weights=weights)
    spread = float(weights @ centred**2)
    fall = -float((weights * centred) @ gain_db) / spread
    residual = gain_db - np.average(gain_db, weights=weights) + fall * centred
    chi_squared = float(weights @ residual**2) / (x.size - 2)
    return Slope(fall, 2.0 * math.sqrt(max(chi_squared, 1.0) / spread))
