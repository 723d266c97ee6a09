"""The spectrum of a noise record, line by line: its floor, and how well chance lets either be known.

A record is cut into like parts; each is taken apart under Hann's window, and the parts are averaged. Of even noise a
line of one part is exponentially distributed, so that of n parts has 2 n degrees of freedom (chi-square). Hann's window
makes a line share 4/9 of its variance with each neighbour and 1/36 with the next one: the square of the correlation
of its transform, which is (-1/4, 1/2, -1/4) convolved with itself.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from benchctl.errors import RecordTooShort, SampledTooSlowly
from benchctl.measure.noise.weighting import AUDIO_BAND_HZ, a_weighting_db
from benchctl.measure.signal.record import Samples, finite

# Five periods of 20 Hz, one more than the least.
PART_S = 0.25
_FEWEST_PERIODS = 4.0  # of the band's lower edge: a shorter record does not tell the lowest frequencies from dc
_HANN_SQUARE = 0.375  # mean square of Hann's window
_HANN_SHARED = 1.0 + 2.0 * (4.0 / 9.0 + 1.0 / 36.0)  # variance of a sum of lines over the sum of their variances
# Lines over which a floor is one number: enough for a median that hum does not move, few beside those of an octave.
_FEWEST_LINES = 16
_PART_OF_FREQUENCY = 0.25
LINES_BESIDE = 2  # on either side, over which Hann's window spreads a tone
_CHANCE = 5.2  # standard deviations: of ten million lines of noise one is so strong
# Fewer parts say too little of their scatter; of eight steady ones, one set in forty scatters so much more than chance.
_FEWEST_PARTS = 4
_UNSTEADY = 1.5


@dataclass(frozen=True)
class NoiseSpectrum:
    """Mean squares in V^2 of the lines within the audio band, shape (parts, lines), and the floor that they stand on,
    shape (lines,). `frequencies_hz` are those of the lines, which lie `line_hz` apart."""

    frequencies_hz: Samples
    power: Samples
    floor: Samples

    @property
    def line_hz(self) -> float:
        return float(self.frequencies_hz[1] - self.frequencies_hz[0])

    @property
    def parts(self) -> int:
        return int(self.power.shape[0])

    @property
    def mean(self) -> Samples:
        """Mean square of each line, over the parts."""
        return np.asarray(self.power.mean(axis=0))

    @property
    def clear(self) -> NDArray[np.bool_]:
        """Which lines stand out of the noise so far that chance does not make one in a million so strong."""
        return np.asarray(self.mean > _clear_of_chance(self.parts) * self.floor)

    @property
    def tones(self) -> Samples:
        """What of each line stands clearly above the floor, with what Hann's window spreads to its neighbours."""
        beside = np.convolve(self.clear, np.ones(2 * LINES_BESIDE + 1), mode="same") > 0.5
        return np.asarray(np.where(beside, np.maximum(self.mean - self.floor, 0.0), 0.0))

    @property
    def weights(self) -> Samples:
        """The A curve for mean squares at each line."""
        return np.asarray(10.0 ** (a_weighting_db(self.frequencies_hz) / 10.0))

    def square(self, weights: Samples | float = 1.0) -> float:
        """Mean square of the band in V^2."""
        return float(np.sum(weights * self.mean))

    def square_u(self, weights: Samples | float = 1.0) -> float:
        """Standard uncertainty of that: by chance, or by the scatter of the parts where that is clearly more."""
        by_chance = self.chance_of(weights * self.floor, weights * self.tones)
        if self.parts < _FEWEST_PARTS:
            return by_chance
        scatter = float(np.std(np.sum(weights * self.power, axis=1), ddof=1)) / math.sqrt(self.parts)
        return scatter if scatter > _UNSTEADY * by_chance else by_chance

    def chance_of(self, floor: Samples, tones: Samples | float = 0.0) -> float:
        """Standard uncertainty that chance leaves of a sum of lines, in V^2: noise of mean square s under a tone of
        mean square t scatters by sqrt(s^2 + 2 s t), a line alone as much as itself."""
        return math.sqrt(_HANN_SHARED / self.parts * float(np.sum(floor**2 + 2.0 * floor * tones)))


def noise_spectrum(values_v: Samples, interval_s: float) -> NoiseSpectrum:
    """The spectrum of a record of the silent output, shape (n,); dc does not count.

    Raises:
        RecordTooShort: less than four periods of 20 Hz.
        SampledTooSlowly: 20 kHz is not below half the sample rate.
        UnreadableRecord: a value is NaN or infinite.
    """
    record = finite(values_v)
    low_hz, high_hz = AUDIO_BAND_HZ
    if record.size * interval_s * low_hz < _FEWEST_PERIODS:
        raise RecordTooShort(f"{record.size * interval_s:.4g} s do not hold {_FEWEST_PERIODS:g} periods of {low_hz} Hz")
    if high_hz * interval_s >= 0.5:
        raise SampledTooSlowly(f"noise up to {high_hz:.4g} Hz needs more than {1.0 / interval_s:.4g} samples a second")
    parts = list(_parts(record, interval_s))
    frequencies_hz = np.fft.rfftfreq(parts[0].size, interval_s).astype(np.float64)
    inside = (frequencies_hz >= low_hz) & (frequencies_hz <= high_hz)
    power = np.stack([_lines(part)[inside] for part in parts])
    return NoiseSpectrum(frequencies_hz[inside], power, _floor(power.mean(axis=0), len(parts)))


def _parts(record: Samples, interval_s: float) -> Iterator[Samples]:
    """The record in like parts of `PART_S` or a little more; whole, where it is shorter than two."""
    count = max(math.floor(record.size * interval_s / PART_S * (1.0 + 1e-9)), 1)
    size = record.size // count
    return (record[number * size : (number + 1) * size] for number in range(count))


def _lines(part: Samples) -> Samples:
    """Mean square of each line; they add up to that of the part, whatever the window takes at its ends."""
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(part.size) / part.size)
    squares = np.abs(np.fft.rfft((part - np.mean(part)) * window)) ** 2
    return np.asarray(2.0 * squares / (part.size**2 * _HANN_SQUARE))


def _clear_of_chance(parts: int) -> float:
    """How many times the floor a line of noise reaches by chance about never (Wilson and Hilferty)."""
    spread = 1.0 / (9.0 * parts)
    return (1.0 - spread + _CHANCE * math.sqrt(spread)) ** 3


def _floor(mean: Samples, parts: int) -> Samples:
    """The noise that lines stand on: medians over neighbours, which a few tones do not move, and straight lines between
    their logarithms. Of 2 n degrees of freedom the median is (1 - 1 / (9 n))^3 of the mean (Wilson and Hilferty)."""
    edges = [0]
    while edges[-1] < mean.size:
        edges.append(edges[-1] + max(_FEWEST_LINES, round(_PART_OF_FREQUENCY * edges[-1])))
    edges = [*edges[:-2], mean.size] if len(edges) > 2 else [0, mean.size]
    middles = [(low + high - 1) / 2.0 for low, high in pairwise(edges)]
    medians = [float(np.median(mean[low:high])) for low, high in pairwise(edges)]
    least = np.finfo(np.float64).tiny
    logarithms = np.interp(np.arange(mean.size), middles, np.log(np.maximum(medians, least)))
    return np.asarray(np.exp(logarithms) / (1.0 - 1.0 / (9.0 * parts)) ** 3)
