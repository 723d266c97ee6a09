"""A stage that can move only so fast: what it makes of a wave, once every cycle is like the last."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from benchctl.simulator.wave import Samples, Wave

SINE_POINTS = 4096
SETTLING_CYCLES = 8
SETTLED = 1e-9


def slewed(wave: Wave | None, steepness: float) -> Wave | None:
    """The wave (a sine where it is None) behind a stage that moves by `steepness` a turn at most, both in parts of the
    tone's amplitude; the same wave where it never asks for more."""
    if wave is None:
        return None if steepness >= 2 * math.pi else _slewed_sine(steepness)
    return wave if _steepest(wave) <= steepness else _slewed(wave, steepness)


def _steepest(wave: Wave) -> float:
    cycle = wave.cycle
    return float(np.max(np.abs(np.diff(cycle, append=cycle[0])))) * len(cycle)


@lru_cache(maxsize=64)
def _slewed_sine(steepness: float) -> Wave:
    turns = np.arange(SINE_POINTS) / SINE_POINTS
    return Wave.of_samples(_followed(np.sin(2 * np.pi * turns), steepness / SINE_POINTS))


@lru_cache(maxsize=16)
def _slewed(wave: Wave, steepness: float) -> Wave:
    return Wave.of_samples(_followed(wave.cycle, steepness / len(wave.cycle)))


def _followed(cycle: Samples, step: float) -> Samples:
    """It goes towards each sample by no more than a step, until a cycle ends where it began."""
    wanted = cycle.tolist()
    given = wanted.copy()
    at = 0.0
    for _ in range(SETTLING_CYCLES):
        began = at
        for index, value in enumerate(wanted):
            at += min(max(value - at, -step), step)
            given[index] = at
        if abs(at - began) < SETTLED:
            break
    return np.array(given)
