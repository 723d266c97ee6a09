"""A table of samples: the sine stretches in it, or the wave that it is.

A sine whose level changes from cycle to cycle at most is played as stretches of constant level, for which the simulated
bench has closed forms. Anything else is played as it is, the whole table as one cycle.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from benchctl.scpi.errors import ScpiError
from benchctl.simulator.wave import Wave

Samples = NDArray[np.float64]

SHORTEST_TABLE = 8
LONGEST_TABLE = 65_536
SILENT = 1e-6
"""of full scale"""
SAME_LEVEL = (0.005, 2e-4)
"""Cycles that differ by less than so much, as a part and of full scale, have one level: tables are rounded."""
SINE_RESIDUE = 0.02
"""Residue of the fit, as a part of the table's RMS, up to which a table counts as a sine."""
FIT_ROUNDS = 4
ONE_CYCLE = 0.99
"""A sine has about one cycle in the table at least; what the fit finds below that is none."""


@dataclass(frozen=True)
class Stretch:
    """Cycles of one level, `level` of full scale (the peak of the sine)."""

    level: float
    points: float


@dataclass(frozen=True)
class Table:
    """A table as it is played, again and again: its length, one frequency, and levels in turn; or a wave."""

    points: int
    cycle_points: float
    """samples a cycle"""
    stretches: tuple[Stretch, ...]
    wave: Wave | None = None
    """the whole table, where it is something else than one sine"""

    @classmethod
    def of(cls, samples: Samples) -> Table:
        """Find the sine in the samples, each from -1 to 1.

        Raises:
            ScpiError: they are too few, too many or too large.
        """
        sounding = np.flatnonzero(np.abs(checked(samples)) > SILENT)
        if not sounding.size:
            return cls(len(samples), float(len(samples)), (Stretch(0.0, float(len(samples))),))
        omega = _omega(samples[: sounding[-1] + 1])
        if not np.pi >= omega > ONE_CYCLE * 2 * np.pi / len(samples):
            return cls(len(samples), float(len(samples)), (), Wave.of_samples(samples))
        stretches = tuple(_stretches(samples, omega))
        wave = None if _is_sine(samples, omega, stretches) else Wave.of_samples(samples)
        return cls(len(samples), 2 * np.pi / omega, stretches, wave)


def checked(samples: Samples) -> Samples:
    """The same samples.

    Raises:
        ScpiError: they are too few or too many, or too large.
    """
    if len(samples) < SHORTEST_TABLE:
        raise ScpiError(-226, f"a table has at least {SHORTEST_TABLE} points")
    if len(samples) > LONGEST_TABLE:
        raise ScpiError(-223, f"a table holds {LONGEST_TABLE} points")
    if np.max(np.abs(samples)) > 1.0 + 1e-9:
        raise ScpiError(-222, "a point of the table is beyond -1 to 1")
    return samples


def _omega(samples: Samples) -> float:
    """Radians a sample, by the four-parameter sine fit of IEEE 1057 over the first stretch of constant level."""
    crossings = _zero_crossings(samples)
    halves = np.arange(len(crossings))
    omega = np.pi / float(np.polyfit(halves, crossings, 1)[0]) if len(crossings) > 1 else np.pi / len(samples)
    count = _first_stretch(samples, 2 * np.pi / omega)
    at, values = np.arange(count, dtype=np.float64), samples[:count]
    for _ in range(FIT_ROUNDS):
        sine, cosine = np.sin(omega * at), np.cos(omega * at)
        a, b = np.linalg.lstsq(np.column_stack([sine, cosine]), values, rcond=None)[0]
        slope = at * (a * cosine - b * sine)
        omega += float(np.linalg.lstsq(np.column_stack([sine, cosine, slope]), values, rcond=None)[0][2])
    return omega


def _zero_crossings(samples: Samples) -> Samples:
    """Where it crosses zero, in samples, by straight lines; the start counts where the table begins at zero."""
    signs = np.sign(samples)
    before = np.flatnonzero(signs[:-1] * signs[1:] < 0)
    between = before + samples[before] / (samples[before] - samples[before + 1])
    on_a_sample = np.flatnonzero(signs == 0)
    return np.sort(np.concatenate([between, on_a_sample.astype(np.float64)]))


def _first_stretch(samples: Samples, cycle_points: float) -> int:
    """How many samples belong to the cycles at the level of the first."""
    levels = [_level(samples, start, cycle_points) for start in np.arange(0, len(samples), cycle_points)]
    cycles = next((n for n, level in enumerate(levels) if not _are_same(level, levels[0])), len(levels))
    return min(max(round(cycles * cycle_points), SHORTEST_TABLE // 2), len(samples))


def _stretches(samples: Samples, omega: float) -> Iterator[Stretch]:
    cycle_points = 2 * np.pi / omega
    starts = np.arange(0, len(samples) - 0.5, cycle_points)
    ends = [*starts[1:], float(len(samples))]
    levels = [_level(samples, start, cycle_points) for start in starts]
    borders = [n for n in range(1, len(levels)) if not _are_same(levels[n], levels[n - 1])]
    for first, last in pairwise([0, *borders, len(levels)]):
        # The last cycle may be cut short, so it counts for nothing beside others.
        whole = levels[first : last - 1] if last == len(levels) and last - first > 1 else levels[first:last]
        yield Stretch(float(np.mean(whole)), float(ends[last - 1] - starts[first]))


def _level(samples: Samples, start: float, cycle_points: float) -> float:
    """The amplitude of the sine, zero at `start`, that fits one cycle best."""
    at = np.arange(int(np.ceil(start - 1e-6)), min(int(np.ceil(start + cycle_points - 1e-6)), len(samples)))
    sine = np.sin(2 * np.pi * (at - start) / cycle_points)
    power = float(sine @ sine)
    return abs(float(sine @ samples[at])) / power if power > 1e-6 else 0.0


def _are_same(level: float, other: float) -> bool:
    relative, absolute = SAME_LEVEL
    return abs(level - other) <= relative * max(level, other) + absolute


def _is_sine(samples: Samples, omega: float, stretches: tuple[Stretch, ...]) -> bool:
    """Whether the stretches are all that there is: a sine that begins at zero."""
    model = np.zeros_like(samples)
    start = 0.0
    at = np.arange(len(samples), dtype=np.float64)
    for stretch in stretches:
        part = (at >= start - 1e-6) & (at < start + stretch.points - 1e-6)
        model[part] = stretch.level * np.sin(omega * at[part])
        start += stretch.points
    return bool(np.std(samples - model) <= SINE_RESIDUE * np.sqrt(np.mean(samples**2)))
