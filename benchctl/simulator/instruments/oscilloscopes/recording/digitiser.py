"""One input of the oscilloscope: probe, amplifier, converter, each with its own error."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchctl.simulator.model.true_errors import TrueError

DIVISIONS = 8
"""Of the screen, from bottom to top; they are the converter's whole range."""


@dataclass(frozen=True)
class Vertical:
    """The setting of one input, in volts at the input."""

    volts_per_division: float = 1.0
    centre_v: float = 0.0
    """shown in the middle of the screen"""

    @property
    def full_scale_v(self) -> float:
        """From the bottom of the screen to its top."""
        return DIVISIONS * self.volts_per_division


class OwnNoise(NamedTuple):
    """RMS of what an input adds to its signal, at the input: a floor and a part of the range, in squares."""

    floor_v: float = 0.0
    of_range: float = 0.0

    def rms_v(self, full_scale_v: float) -> float:
        """On one range."""
        return math.hypot(self.floor_v, self.of_range * full_scale_v)


QUIET = OwnNoise()

MOST_OFF = 0.45
"""Of a step: no transition of a converter lies nearer to the next one, so that no code is ever missing."""


class Transitions:
    """Where one converter passes from each code to the next, beside the ideal places halfway (code transition levels,
    IEEE 1057).

    Args:
        bits: of the converter.
        off: by how much of a step each of them is off, RMS.
        chance: which converter it is.
    """

    def __init__(self, bits: int, off: float, chance: np.random.Generator) -> None:
        drawn = np.clip(off * chance.standard_normal(2**bits - 1), -MOST_OFF, MOST_OFF)
        self._lowest = -(2 ** (bits - 1))
        # Below the lowest code and above the highest there is none.
        self._below = np.concatenate([[-np.inf], drawn - 0.5])
        self._above = np.concatenate([drawn + 0.5, [np.inf]])

    def codes(self, ideal: NDArray[np.float64], places: NDArray[np.float64]) -> NDArray[np.float64]:
        """The codes that it gives in place of the ideal ones; `places` in steps, with noise."""
        rows = ideal.astype(np.int64) - self._lowest
        beyond = places - ideal
        return np.asarray(ideal + (beyond >= self._above[rows]) - (beyond < self._below[rows]), dtype=np.float64)


@dataclass(frozen=True)
class Digitiser:
    """Turns what happens at a probe's tip into codes, -2^(bits-1) to 2^(bits-1) - 1, 0 in the middle of the screen."""

    bits: int
    volts_per_unit: float
    """true ratio of the probe: volts at the input for a volt or an ampere at its tip"""
    error: TrueError
    """gain, and offset in parts of the limit of error's fixed part"""
    range_error: Callable[[float], float]
    """full scale in V -> offset in parts of it: another on each range, for each sets the input's amplifier otherwise"""
    noise_lsb: float
    """of the converter itself, RMS in steps; with less than about a third flat tops do not move from step to step"""
    own_noise: OwnNoise = QUIET
    transitions: Transitions | None = None
    """None: all steps are alike"""

    def step_v(self, vertical: Vertical) -> float:
        """Volts at the input for one code."""
        return float(vertical.full_scale_v / 2**self.bits)

    def codes(
        self,
        signal: NDArray[np.float64],
        vertical: Vertical,
        chance: np.random.Generator,
        beside_v: NDArray[np.float64] | float = 0.0,
    ) -> NDArray[np.int32]:
        """Digitise `signal` (at the tip), and `beside_v` that comes to the input by another way than the probe."""
        step_v = self.step_v(vertical)
        indicated_v = signal * (self.volts_per_unit * (1 + self.error.gain)) + beside_v * (1 + self.error.gain)
        full_scale_v = vertical.full_scale_v
        indicated_v += self.error.offset + self.range_error(full_scale_v) * full_scale_v - vertical.centre_v
        noise_lsb = np.hypot(self.noise_lsb, self.own_noise.rms_v(full_scale_v) / step_v)
        places = indicated_v / step_v
        if noise_lsb > 0:
            places += chance.standard_normal(len(signal)) * noise_lsb
        lowest, highest = -(2 ** (self.bits - 1)), 2 ** (self.bits - 1) - 1
        codes = np.clip(np.rint(places), lowest, highest)
        if self.transitions is not None:
            codes = self.transitions.codes(codes, places)
        return codes.astype(np.int32)
