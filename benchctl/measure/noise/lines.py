"""The lines that stand out of a noise spectrum: how strong, at which frequency, and what they are called."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from benchctl.measure.noise.spectrum import LINES_BESIDE, NoiseSpectrum
from benchctl.measure.signal.record import Samples

# EN 50160, 4.2.1 (from memory): a mains frequency keeps within 1 % nearly always.
_MAINS_HZ, _MAINS_TOLERANCE = (50.0, 60.0), 0.01
_TELLING = 4  # multiples by which 50 Hz and 60 Hz are told apart: the fifth, 300 Hz, is one of both
_HIGHEST_MULTIPLE = 20
_READ_LINES = 0.15  # how well the frequency of a faint tone is read, as a part of the distance of two lines
_READ_RATIO = 0.002  # and of a multiple, as a part of it: what the measured mains frequency may be off
_LEAK_MARGIN = 4.0


@dataclass(frozen=True)
class Line:
    """A tone in the noise: its mean square in V^2 with the standard uncertainty that chance leaves."""

    frequency_hz: float
    square: float
    square_u: float

    @property
    def rms_v(self) -> float:
        return math.sqrt(self.square)


def lines_of(spectrum: NoiseSpectrum) -> list[Line]:
    """The tones of a spectrum, the strongest first."""
    tones = spectrum.tones
    left = np.where(spectrum.clear, tones, 0.0)
    found: list[Line] = []
    while left.size and left.max() > 0.0:
        top = int(np.argmax(left))
        line = _line_at(spectrum, tones, top)
        near = slice(max(top - LINES_BESIDE, 0), top + LINES_BESIDE + 1)
        left[near] = 0.0
        if not any(tones[top] < _LEAK_MARGIN * _leaked(other, line, spectrum.line_hz) for other in found):
            found.append(line)
    return sorted(found, key=lambda line: -line.square)


def mains_hz(lines: Sequence[Line], line_hz: float) -> float | None:
    """The mains frequency, as the lines show it at itself or one of its first multiples; None where they do not."""
    seen = [
        (line, multiple) for line in lines for nominal in _MAINS_HZ for multiple in _telling(line, nominal, line_hz)
    ]
    if not seen:
        return None
    line, multiple = max(seen, key=lambda pair: pair[0].square)
    return line.frequency_hz / multiple


def multiple_of(line: Line, mains: float | None, line_hz: float) -> int | None:
    """Which multiple of the mains frequency a line is, as far as its frequency tells; None where it tells nothing."""
    if mains is None:
        return None
    multiple = round(line.frequency_hz / mains)
    room_hz = _READ_LINES * line_hz + _READ_RATIO * line.frequency_hz
    is_one = 1 <= multiple <= _HIGHEST_MULTIPLE and abs(line.frequency_hz - multiple * mains) <= room_hz
    return multiple if is_one else None


def multiple_in_words(multiple: int) -> str:
    """What a multiple of mains is called."""
    return {1: "mains frequency", 2: "twice mains"}.get(multiple, f"{multiple} times mains")


def nominal_mains_hz(mains: float) -> float:
    """The mains frequency that networks are built for."""
    return min(_MAINS_HZ, key=lambda nominal: abs(nominal - mains))


def seen_there(line: Line, other: NoiseSpectrum) -> tuple[float, bool]:
    """How much another spectrum may have of a line, in V RMS, and whether it clearly has it."""
    top = int(np.argmin(np.abs(other.frequencies_hz - line.frequency_hz)))
    near = slice(max(top - LINES_BESIDE, 0), top + LINES_BESIDE + 1)
    tones, floor = other.tones[near], other.floor[near]
    if tones.any():
        return math.sqrt(float(tones.sum())), True
    above = float(np.maximum(other.mean[near] - floor, 0.0).sum())
    return math.sqrt(above + 2.0 * other.chance_of(floor, 0.0)), False


def _telling(line: Line, nominal_hz: float, line_hz: float) -> Iterator[int]:
    for multiple in range(1, _TELLING + 1):
        room_hz = _MAINS_TOLERANCE * multiple * nominal_hz + _READ_LINES * line_hz
        if abs(line.frequency_hz - multiple * nominal_hz) <= room_hz:
            yield multiple


def _line_at(spectrum: NoiseSpectrum, tones: Samples, top: int) -> Line:
    near = slice(max(top - LINES_BESIDE, 0), top + LINES_BESIDE + 1)
    frequency_hz = float(spectrum.frequencies_hz[top]) + _beside(tones, top) * spectrum.line_hz
    return Line(frequency_hz, float(tones[near].sum()), spectrum.chance_of(spectrum.floor[near], tones[near]))


def _beside(tones: Samples, top: int) -> float:
    """How far from the strongest line a tone lies, in lines. Under Hann's window the amplitudes of the two strongest
    lines have the ratio r = (1 + d) / (2 - d), d being the distance from the first towards the second."""
    neighbours = [
        (float(tones[place]), sign) for place, sign in ((top - 1, -1), (top + 1, 1)) if 0 <= place < tones.size
    ]
    square, sign = max(neighbours, default=(0.0, 1))
    ratio = math.sqrt(square / float(tones[top]))
    return sign * max(2.0 * ratio - 1.0, 0.0) / (1.0 + ratio)


def _leaked(strong: Line, weak: Line, line_hz: float) -> float:
    """What of a strong tone Hann's window lets leak to the place of a weaker one: sinc(d) / (1 - d^2) of its amplitude
    at a distance of d lines; the envelope of its square."""
    distance = max(abs(strong.frequency_hz - weak.frequency_hz) / line_hz, 1.5)
    return strong.square * (2.0 / 3.0) / (math.pi * distance * (distance**2 - 1.0)) ** 2
