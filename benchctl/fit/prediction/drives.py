"""The highest clean drive, as the model has it: steady, and for some cycles; all sets of parameters at once.

A level is what all inputs get, and the worst channel decides, as on the bench. The level of the set in the middle is
found by halving an interval; those of its neighbours, which lie near it, by secants.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from benchctl.fit.model.physics import Kind, Physics, Samples
from benchctl.fit.model.rails import followed, resting_v, settled
from benchctl.fit.model.stages import inside_v

POINTS = 48
"""Instants in a cycle of a burst, from which its distortion is told."""

STEADY_POINTS = 240
BAND_HZ = 20e3
"""What counts as distortion (AES17)."""

_HALVINGS = 9
_SECANTS = 3
_APART = 2e-3
LOWEST, HIGHEST = 0.2, 1.5
"""Of the rails without load: between these an output has its highest clean peak, into any load."""

_LEAST = 1e-9


@dataclass(frozen=True)
class Steady:
    """Powers and peaks have shape (channels, sets), the rest (sets,)."""

    power_w: Samples
    supply_a: Samples
    terminal_v: Samples
    peak_v: Samples

    @property
    def efficiency(self) -> Samples:
        """Into all loads over what the supply gives at the terminals."""
        return np.asarray(self.power_w.sum(axis=0) / (self.supply_a * self.terminal_v))


def clean_steady(of: Physics, kind: Kind, limit: float, beside: float) -> tuple[Steady, Steady]:
    """At the highest clean level, and for the first set at `beside` times it; `of.peak_v` holds what a level of 1 asks
    for."""
    level = clean_level(of, kind, limit)
    return _steady(of, kind, level), _steady(first_of(of), kind, level[:1] * beside)


def steady_at(of: Physics, kind: Kind, level: Samples) -> Steady:
    """At a level of its own, which may clip."""
    return _steady(of, kind, level)


def clean_level(of: Physics, kind: Kind, limit: float) -> Samples:
    """The highest clean level of a steady tone, for each set."""
    return _level(of, lambda at, level: _steady_cycle(at, kind, level)[0][None], limit, kind.halves)


def clean_burst(  # noqa: PLR0917
    of: Physics, kind: Kind, quiet: float, cycles: int, limit: float, beside: float
) -> tuple[Samples, Samples]:
    """Power of the lowest cycle of a burst at its highest clean level, (channels, sets), and for the first set at
    `beside` times it."""

    def cycles_v(at: Physics, level: Samples) -> Samples:
        return _burst_cycles(at, kind, level, quiet, cycles)

    def lowest_w(at: Physics, level: Samples) -> Samples:
        return np.asarray(((cycles_v(at, level) ** 2).mean(axis=1) / at.load_ohm).min(axis=0))

    level = _level(of, cycles_v, limit, kind.halves)
    return lowest_w(of, level), lowest_w(first_of(of), level[:1] * beside)


def full_droop(  # noqa: PLR0917
    of: Physics, kind: Kind, quiet: float, cycles: int, limit: float, beside: float
) -> tuple[Samples, Samples]:
    """The part by which the last peak of a burst is below its first, (channels, sets), where the first cycle is at its
    highest clean level; and for the first set at `beside` times it."""

    def droop(at: Physics, level: Samples) -> Samples:
        peaks_v = np.abs(_burst_cycles(at, kind, level, quiet, cycles)).max(axis=1)
        return np.asarray(1.0 - peaks_v[-1] / peaks_v[0])

    level = _level(of, lambda at, level: _burst_cycles(at, kind, level, quiet, 1), limit, kind.halves)
    return droop(of, level), droop(first_of(of), level[:1] * beside)


def first_of(of: Physics) -> Physics:
    """The first set alone."""
    return Physics(**{name: np.asarray(value)[..., :1] for name, value in vars(of).items()})


def _steady(of: Physics, kind: Kind, level: Samples) -> Steady:
    cycle_v, rails_v = _steady_cycle(of, kind, level)
    driven = replace(of, peak_v=of.peak_v * level)
    course = followed(driven, kind, rails_v, _cycle_times(driven, STEADY_POINTS, 1))
    return Steady(
        power_w=(cycle_v**2).mean(axis=0) / of.load_ohm,
        supply_a=course.supply_a.mean(axis=0),
        terminal_v=course.terminal_v.mean(axis=0),
        peak_v=np.abs(cycle_v).max(axis=0),
    )


def _steady_cycle(of: Physics, kind: Kind, level: Samples) -> tuple[Samples, Samples]:
    """One cycle at the outputs, (instants, channels, sets), and the rails at its begin."""
    driven = replace(of, peak_v=of.peak_v * level)
    rails_v = settled(driven, kind)
    times_s = _cycle_times(driven, STEADY_POINTS, 1)
    if kind.averaged:
        course_v = np.broadcast_to(rails_v, (len(times_s), *rails_v.shape))
    else:
        course_v = followed(driven, kind, rails_v, times_s).rails_v
    return _outputs_v(driven, kind, course_v, times_s), rails_v


def _burst_cycles(of: Physics, kind: Kind, level: Samples, quiet: float, cycles: int) -> Samples:
    """(cycles, instants, channels, sets)."""
    driven = replace(of, peak_v=of.peak_v * level)
    if kind.averaged:
        rails_v = resting_v(driven, kind, quiet)[None]
    else:
        rails_v = settled(replace(driven, peak_v=quiet * driven.peak_v), kind)
    times_s = _cycle_times(driven, POINTS, cycles)
    outputs_v = _outputs_v(driven, kind, followed(driven, kind, rails_v, times_s).rails_v, times_s)
    return outputs_v.reshape(cycles, POINTS, *outputs_v.shape[1:])


def _cycle_times(of: Physics, points: int, cycles: int) -> Samples:
    return np.arange(points * cycles)[:, None] / points * (2.0 * np.pi / of.angular_hz)


def _outputs_v(of: Physics, kind: Kind, course_v: Samples, times_s: Samples) -> Samples:
    along = of.along_times()
    return (inside_v(along, kind, along.asked_v(times_s), course_v.swapaxes(0, 1)) * along.share).swapaxes(0, 1)


def _level(of: Physics, cycles_v: Callable[[Physics, Samples], Samples], limit: float, swing: int) -> Samples:
    """The level at which the worst cycle of the worst channel has just so much distortion, for each set."""

    def excess(at: Physics, logs: Samples) -> Samples:
        harmonics = int(BAND_HZ * 1.001 * 2.0 * np.pi / float(at.angular_hz[0]))
        return np.log(_distortion(cycles_v(at, np.exp(logs)), harmonics) / limit)

    middle = first_of(of)
    rail_v = float(np.maximum(middle.ratio * middle.supply_v, middle.held_v)[0]) * swing
    high = np.log(np.array([HIGHEST * rail_v / float(middle.peak_v.max())]))
    low = high + np.log(LOWEST / HIGHEST)
    for _ in range(_HALVINGS):
        here = (low + high) / 2.0
        low, high = (low, here) if excess(middle, here)[0] > 0.0 else (here, high)
    before = np.full(len(of.supply_v), float(high[0]))
    here = before + _APART
    at_before, at_here = excess(of, before), excess(of, here)
    for _ in range(_SECANTS):
        slope = (at_here - at_before) / np.where(here == before, _LEAST, here - before)
        before, at_before = here, at_here
        here = here - np.clip(at_here / np.where(np.abs(slope) < _LEAST, _LEAST, slope), -0.05, 0.05)
        at_here = excess(of, here)
    return np.exp(here)


def _distortion(cycles_v: Samples, harmonics: int) -> Samples:
    """The highest of all cycles and channels: what is beside the fundamental over all, within the band."""
    lines = np.abs(np.fft.rfft(cycles_v, axis=1)) ** 2
    last = min(harmonics, lines.shape[1] - 2)
    beside, whole = lines[:, 2 : last + 1].sum(axis=1), lines[:, 1 : last + 1].sum(axis=1)
    return np.asarray(np.sqrt(np.maximum(beside / whole, _LEAST)).max(axis=(0, 1)))
