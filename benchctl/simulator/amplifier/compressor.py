"""A compressor: it turns the gain down where the output would be above a threshold, and up again, each in its time."""

from __future__ import annotations

import math

from benchctl.documents.amplifier_file.imperfections import CompressorSimulation

GAIN_STEP = 1 / 512
"""A gain that a compressor or thermal fold-back moves goes in steps of so much, a sixtieth of a decibel, so that
circuits repeat."""


class Compressor:
    """Its gain goes as one exponential towards what the level asks for: target + (gain - target)·exp(-t/τ)."""

    def __init__(self, of: CompressorSimulation) -> None:
        self.gain = 1.0
        self._of = of
        self._target = 1.0
        self._time_s = 0.0

    def follow(self, now_s: float, output_v: float) -> float:
        """From now on the output would be at `output_v`, RMS; returns when to follow again, infinity once it is
        settled."""
        self._move(now_s)
        self._target = self.settled(output_v)
        away = abs(self._target - self.gain)
        if away <= GAIN_STEP / 2:
            self.gain = self._target
            return math.inf
        left = max(away - GAIN_STEP, GAIN_STEP / 4)
        return now_s + self._time_constant_s * math.log(away / left)

    def settled(self, output_v: float) -> float:
        """The gain at a steady level: above the threshold the output rises by 1 dB for `ratio` dB at the input."""
        if output_v <= self._of.threshold_v:
            return 1.0
        return float((self._of.threshold_v / output_v) ** (1 - 1 / self._of.ratio))

    def _move(self, now_s: float) -> None:
        passed_s, self._time_s = now_s - self._time_s, now_s
        self.gain = self._target + (self.gain - self._target) * math.exp(-passed_s / self._time_constant_s)

    @property
    def _time_constant_s(self) -> float:
        return self._of.attack_s if self._target < self.gain else self._of.release_s
