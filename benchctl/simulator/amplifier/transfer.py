"""An output stage's voltage as a function of the voltage asked for: a bend, dead zone, clipping, a missing half.

The same function gives the waveforms and, averaged over a cycle, what the rails must supply, so a probe and the energy
meters always agree.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from benchctl.simulator.amplifier import clipping
from benchctl.simulator.amplifier.clipping import CycleMeans, clipped_sine
from benchctl.simulator.wave import Wave

Voltages = NDArray[np.float64]

V = TypeVar("V", float, Voltages)

NODES = 256
"""Over half a cycle, which the other half mirrors. With the midpoint rule a kink causes an error of parts in 1e5, far
below 0.1 %."""

_SINES = np.sin((np.arange(NODES) + 0.5) * np.pi / NODES - np.pi / 2)

STEEPNESS = 4.0
"""Beyond a class A region the dead zone is lost over so many times its own voltage (this project's own choice)."""

_LEAST_V = 1e-9
"""A limit of zero is taken as a nanovolt, so that a division by it stays finite."""

Half = Literal["upper", "lower"]


class Bend(NamedTuple):
    """A polynomial, y = x + second·x² + third·x³, with the coefficients of one half."""

    second_per_v: float
    third_per_v2: float

    def of(self, asked_v: V) -> V:
        """What becomes of voltages."""
        return asked_v + asked_v * asked_v * (self.second_per_v + self.third_per_v2 * asked_v)


class Bump(NamedTuple):
    """A bump of the size around one voltage of a half."""

    at_v: float
    height_v: float
    width_v: float

    def on(self, size_v: Voltages) -> Voltages:
        """What it adds."""
        return np.asarray(self.height_v * np.exp(-(((size_v - self.at_v) / self.width_v) ** 2)), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Transfer:
    """An odd function, except with a bend of second order or a missing half: bend, dead zone and bump first, then
    clipping.

    Args:
        dead_zone_v: crossover distortion: this close to zero neither device conducts; beyond it, this much is lost.
        class_a_v: up to here both devices conduct; beyond it, the dead zone is lost little by little.
        bump: what is added around one voltage, if anything.
        knee: the part of the swing below the limit over which clipping sets in, as a tanh; 0 is hard clipping.
        missing: the half that is not there because its output device is open.
        bend: what is not straight about it, if anything.
    """

    dead_zone_v: float = 0.0
    knee: float = 0.0
    missing: Half | None = None
    bend: Bend | None = None
    class_a_v: float = 0.0
    bump: Bump | None = None

    def onset_v(self, limit_v: V) -> V:
        """Below this nothing is clipped."""
        return (1 - self.knee) * limit_v

    def output_v(self, asked_v: Voltages, limit_v: Voltages | float) -> Voltages:
        """The output for each voltage asked for, under a limit that may change with it; shapes broadcast."""
        asked_v = self.bent(asked_v)
        size_v = self._size_v(self._unclipped_v(np.abs(asked_v)), limit_v)
        return self._present_of(np.copysign(size_v, asked_v), asked_v)

    def bent(self, asked_v: V) -> V:
        """Voltages behind the bend, before all else."""
        return asked_v if self.bend is None else self.bend.of(asked_v)

    def peak_v(self, amplitude_v: float, offset_v: float) -> float:
        """The highest voltage, either way, that a tone may ask for behind bend and bump."""
        bump_v = max(self.bump.height_v, 0.0) if self.bump is not None else 0.0
        return max(abs(self.bent(offset_v + amplitude_v)), abs(self.bent(offset_v - amplitude_v))) + bump_v

    @property
    def _is_straight(self) -> bool:
        """Whether all it does is clip."""
        return self.dead_zone_v == 0 and self.missing is None and self.bend is None and self.bump is None

    def _left_v(self, asked_v: Voltages) -> Voltages:
        """What the dead zone leaves: beyond class A the slope falls to three quarters at once and comes back, so that
        there is no flat place that looks like clipping."""
        if self.dead_zone_v == 0:
            return asked_v
        if self.class_a_v == 0:
            return np.maximum(asked_v - self.dead_zone_v, 0.0)
        beyond = np.maximum(asked_v - self.class_a_v, 0.0)
        lost_v = -self.dead_zone_v * np.expm1(-beyond / (STEEPNESS * self.dead_zone_v))
        return np.asarray(asked_v - lost_v, dtype=np.float64)

    def _unclipped_v(self, asked_v: Voltages) -> Voltages:
        """Behind dead zone and bump; without sign."""
        size_v = self._left_v(asked_v)
        return size_v if self.bump is None else size_v + self.bump.on(asked_v)

    def means(self, amplitude_v: float, offset_v: float, limit_v: float, wave: Wave | None = None) -> CycleMeans:
        """Over a cycle of amplitude·sin θ + offset, or of a wave instead of the sine: closed form for plain hard
        clipping of a sine, else by the midpoint rule."""
        plain = self._is_straight and wave is None
        if plain and (self.knee == 0 or amplitude_v + abs(offset_v) <= self.onset_v(limit_v)):
            return clipped_sine(amplitude_v, offset_v, limit_v)
        wanted = (
            _wanted(self, amplitude_v, offset_v) if wave is None else _wanted_of_wave(self, amplitude_v, offset_v, wave)
        )
        return self._means(*wanted, limit_v)

    def overdrive_at(self, thd: float) -> float:
        """Amplitude over limit at which clipping (without the dead zone) gives a distortion.

        Raises:
            ValueError: a distortion that clipping cannot give.
        """
        hard = clipping.overdrive_at(thd)
        if self.knee == 0:
            return hard
        low, high = 0.0, 10.0  # a soft clipper distorts earlier, and less far beyond
        while high - low > 1e-9:
            middle = (low + high) / 2
            low, high = (middle, high) if self._distortion(middle) < thd else (low, middle)
        return high

    def _distortion(self, overdrive: float) -> float:
        """THD of a sine whose amplitude is `overdrive` times the limit: all but the fundamental, over it."""
        sines = self._size_v(overdrive * np.abs(_SINES), 1.0) * np.sign(_SINES)
        fundamental = 2 * float(np.mean(sines * _SINES))
        rest = 2 * float(np.mean(sines**2)) - fundamental**2
        return math.sqrt(max(rest, 0.0)) / fundamental if fundamental > 0 else 0.0

    def wanted(self, asked_v: Voltages) -> Voltages:
        """What a half would give of each voltage behind the bend, if nothing clipped; without sign."""
        return self._present_of(self._unclipped_v(np.abs(asked_v)), asked_v)

    def _means(self, wanted_v: Voltages, signs: Voltages, limit_v: float) -> CycleMeans:
        size_v, slope = self._size_and_slope(wanted_v, limit_v)
        nodes = len(wanted_v)
        return CycleMeans(
            absolute_v=float(np.add.reduce(size_v)) / nodes,
            square_v2=float(size_v @ size_v) / nodes,
            mean_v=float(signs @ size_v) / nodes,
            absolute_slope=float(np.add.reduce(slope)) / nodes,
            square_slope_v=2 * float(size_v @ slope) / nodes,
        )

    def _present_of(self, given_v: Voltages, asked_v: Voltages) -> Voltages:
        """What is left of voltages where a half is missing."""
        if self.missing is None:
            return given_v
        return given_v * np.asarray(asked_v < 0 if self.missing == "upper" else asked_v > 0, dtype=np.float64)

    def _size_v(self, wanted_v: Voltages, limit_v: Voltages | float) -> Voltages:
        """Clipped: straight up to the onset, then onset + room·tanh(excess / room)."""
        if self.knee == 0:
            return np.minimum(wanted_v, limit_v)
        limits_v = np.maximum(limit_v, _LEAST_V)
        onset_v, room_v = (1 - self.knee) * limits_v, self.knee * limits_v
        bend = np.tanh(np.maximum(wanted_v - onset_v, 0.0) / room_v)
        return np.asarray(np.minimum(wanted_v, onset_v) + room_v * bend, dtype=np.float64)

    def _size_and_slope(self, wanted_v: Voltages, limit_v: float) -> tuple[Voltages, Voltages]:
        """Clipped, and d(clipped)/d(limit).

        Onset and room are in proportion to the limit, so twice of both gives twice the voltage, and Euler's theorem has
        the slope: limit·d(clipped)/d(limit) = clipped - wanted·d(clipped)/d(wanted). It is 0 below the onset.
        """
        if self.knee == 0:
            return np.minimum(wanted_v, limit_v), np.asarray(wanted_v > limit_v, dtype=np.float64)
        limit_v = max(limit_v, _LEAST_V)
        onset_v, room_v = (1 - self.knee) * limit_v, self.knee * limit_v
        bend = np.tanh(np.maximum(wanted_v - onset_v, 0.0) / room_v)
        size_v = np.minimum(wanted_v, onset_v) + room_v * bend
        return size_v, (size_v - (1 - bend * bend) * wanted_v) / limit_v


@lru_cache(maxsize=256)  # while a rail moves, the same sine is clipped at one limit after the other
def _wanted(transfer: Transfer, amplitude_v: float, offset_v: float) -> tuple[Voltages, Voltages]:
    """Over half a cycle: what would be given if nothing clipped, and its sign."""
    asked_v = transfer.bent(amplitude_v * _SINES + offset_v)
    return transfer.wanted(asked_v), np.sign(asked_v)


@lru_cache(maxsize=8)  # a cycle of a wave is large, and few sound in turn
def _wanted_of_wave(transfer: Transfer, amplitude_v: float, offset_v: float, wave: Wave) -> tuple[Voltages, Voltages]:
    """The same over a whole cycle of a wave."""
    asked_v = transfer.bent(amplitude_v * wave.cycle + offset_v)
    return transfer.wanted(asked_v), np.sign(asked_v)


HARD = Transfer()
