"""The rails, stepped through a burst or a steady tone, and in closed form while they recover.

A step is exponential in the rail's own decay (exponential Rosenbrock-Euler; Hochbruck and Ostermann, Acta Numerica
2010, section 2), so that a rail that settles far within a step stays stable. What is asked for in a step is taken at
its two Gauss points.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchctl.fit.model.converter import charging
from benchctl.fit.model.physics import Kind, Physics, Samples
from benchctl.fit.model.stages import Taken, mean_size, taken, taken_in_a_cycle

SETTLING = 6
"""Cycles in which a steady tone is brought to the cycle that repeats, each followed by a jump to where it leads."""

EVERY = 5
"""Instants in a step, where only the means of a cycle are followed."""

_GAUSS = (0.5 - 0.5 / np.sqrt(3.0), 0.5 + 0.5 / np.sqrt(3.0))
_LEAST_S = 1e-12

POINTS = 25
"""Steps in a cycle, about."""


@dataclass(frozen=True)
class Course:
    """At each instant; `rails_v` has shape (instants, rails, columns), the rest (instants, columns)."""

    rails_v: Samples
    supply_a: Samples
    terminal_v: Samples


def resting_v(of: Physics, kind: Kind, quiet: float) -> Samples:
    """The rails under a tone at `quiet` times its level, averaged over its cycle; 0: without a tone."""
    absolute_v = mean_size(quiet * of.peak_v, of.dc_v)
    square_v2 = (quiet * of.peak_v) ** 2 / 2.0 + of.dc_v**2
    path_s = 1.0 / (of.load_ohm + of.output_ohm)
    lumped_ohm = of.stiffness_ohm + (0.0 if kind.regulated else of.path_ohm * of.ratio**2 / of.efficiency)
    open_v = of.held_v if kind.regulated else of.ratio * (of.supply_v - of.path_ohm * of.steady_a)
    if not kind.switching:
        load_a = kind.halves * (absolute_v * path_s).sum(axis=0) + of.bias_a
        return np.asarray((open_v - lumped_ohm * load_a) / (1.0 + lumped_ohm / of.bleed_ohm))
    power_w = of.drawn * (square_v2 * path_s * (1.0 + of.conduction_ohm * path_s)).sum(axis=0)
    rail_v = open_v
    for _ in range(4):
        load_a = power_w / rail_v + of.bias_a + rail_v * of.switching_s
        rail_v = (open_v - lumped_ohm * load_a) / (1.0 + lumped_ohm / of.bleed_ohm)
    return np.asarray(rail_v)


def followed(of: Physics, kind: Kind, rails_v: Samples, times_s: Samples) -> Course:
    """From `rails_v` at the first of the times, shape (instants, columns), to the last."""
    course_v = np.empty((len(times_s), *rails_v.shape))
    course_v[0] = rails_v
    every = EVERY if kind.averaged else 1
    for number in range(0, len(times_s) - 1, every):
        after = min(number + every, len(times_s) - 1)
        there_v = _stepped(of, kind, course_v[number], times_s[number], times_s[after])
        since_s = times_s[number + 1 : after + 1] - times_s[number]
        parts = (since_s / np.maximum(since_s[-1], _LEAST_S))[:, None]
        course_v[number + 1 : after + 1] = course_v[number] + parts * (there_v - course_v[number])
    flows = [charging(of, kind, each_v) for each_v in course_v]
    return Course(course_v, np.array([flow.supply_a for flow in flows]), np.array([flow.terminal_v for flow in flows]))


def settled(of: Physics, kind: Kind) -> Samples:
    """The rails at the trigger of a tone that has been there for long, shape (rails, columns)."""
    if kind.averaged:
        return _settled_by_means(of, kind)
    period_s = 2.0 * np.pi / of.angular_hz
    rails_v = np.broadcast_to(_loaded_v(of, kind), (kind.rails, len(period_s)))
    lumped_ohm = of.stiffness_ohm + (0.0 if kind.regulated else of.path_ohm * of.ratio**2 / of.efficiency)
    kept = np.exp(-period_s / (lumped_ohm * of.reservoir_f))
    parts = np.linspace(0.0, 1.0, POINTS + 1)[:, None] * period_s
    for _ in range(SETTLING):
        start_v = rails_v
        for number in range(POINTS):
            rails_v = _stepped(of, kind, rails_v, parts[number], parts[number + 1])
        rails_v = start_v + (rails_v - start_v) / (1.0 - kept)
    return rails_v


def _settled_by_means(of: Physics, kind: Kind) -> Samples:
    rails_v = _loaded_v(of, kind)[None]
    forever_s = np.full(len(of.supply_v), np.inf)
    for _ in range(SETTLING):
        rails_v = _stepped(of, kind, rails_v, np.zeros_like(forever_s), forever_s)
    return rails_v


def recovering_a(of: Physics, kind: Kind, rails_v: Samples, quiet: float, edges_s: Samples) -> tuple[Samples, Samples]:
    """Mean current of the supply and mean voltage at the terminals between edges after a burst, shape (bins, columns).

    The mean of both rails goes to its rest exponentially; the supply sees only that mean.
    """
    rest_v = resting_v(of, kind, quiet)
    lumped_ohm = of.stiffness_ohm + (0.0 if kind.regulated else of.path_ohm * of.ratio**2 / of.efficiency)
    rate = (1.0 / lumped_ohm + 1.0 / of.bleed_ohm + of.switching_s) / of.reservoir_f
    left = np.exp(-rate * edges_s[:, None])
    mean = (left[:-1] - left[1:]) / (rate * np.diff(edges_s)[:, None])
    means_v = rest_v + (rails_v.mean(axis=0) - rest_v) * mean
    flows = [charging(of, kind, each_v[None]) for each_v in means_v]
    return np.array([flow.supply_a for flow in flows]), np.array([flow.terminal_v for flow in flows])


def _loaded_v(of: Physics, kind: Kind) -> Samples:
    """About where a steady tone brings the rails: as if it were clipped to a sine of the limit's size."""
    rest_v = resting_v(of, kind, 0.0)
    full_v = np.maximum(resting_v(of, kind, 1.0), rest_v / 2.0)
    return np.maximum(full_v, rest_v / 2.0)


def _stepped(of: Physics, kind: Kind, rails_v: Samples, from_s: Samples, to_s: Samples) -> Samples:
    if kind.averaged:
        load = taken_in_a_cycle(of, kind, rails_v)
    else:
        each = [taken(of, kind, of.asked_v(from_s + part * (to_s - from_s)), rails_v) for part in _GAUSS]
        load = Taken((each[0].load_a + each[1].load_a) / 2.0, (each[0].slope_s + each[1].slope_s) / 2.0)
    flow = charging(of, kind, rails_v)
    rails = len(rails_v)
    path_s = 1.0 / (rails * of.stiffness_ohm)
    reflected = 0.0 if kind.regulated else of.path_ohm * of.ratio**2 / of.efficiency * path_s
    charges_s = (flow.charge_a > 0.0) * path_s * (1.0 - reflected / (1.0 + rails * reflected))
    decay = (charges_s + load.slope_s) * (rails / of.reservoir_f)
    slope = (flow.charge_a - load.load_a) * (rails / of.reservoir_f)
    return np.asarray(rails_v - slope * np.expm1(-decay * (to_s - from_s)) / decay)
