"""The rails, followed through a burst or a steady tone, and in closed form while they recover."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchctl.fit.model.converter import charging
from benchctl.fit.model.giving import Given, given_after, shown_of
from benchctl.fit.model.physics import Kind, Physics, Samples
from benchctl.fit.model.stages import mean_size
from benchctl.fit.model.stepping import Chain, Steps, chained

SETTLING = 6
"""Steps in which means of a steady tone are brought to where they stay."""

EVERY = 5
"""Instants in a step, where only the means of a cycle are followed."""

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
    lumped_ohm = of.lumped_ohm(kind)
    open_v = of.held_v if kind.regulated else of.ratio * (of.supply_v - of.path_ohm * of.steady_a)
    if not kind.switching:
        load_a = kind.halves * (absolute_v * path_s).sum(axis=0) + of.bias_a
        return np.asarray((open_v - lumped_ohm * load_a) / (1.0 + lumped_ohm / of.bleed_ohm))
    power_w = (square_v2 * path_s * (1.0 + of.conduction_ohm * path_s)).sum(axis=0)
    edges_a = of.edges * (absolute_v * path_s).sum(axis=0)
    rail_v = open_v
    for _ in range(4):
        load_a = power_w / rail_v + edges_a + of.bias_a + rail_v * of.switching_s
        rail_v = (open_v - lumped_ohm * load_a) / (1.0 + lumped_ohm / of.bleed_ohm)
    return np.asarray(rail_v)


def followed(of: Physics, kind: Kind, rails_v: Samples, times_s: Samples, sets: int = 1) -> Course:
    """From `rails_v` at the first of the times, shape (instants, columns), to the last.

    Of each `sets` columns in a row only the first is followed exactly. The others lie very near it, as those of a
    Jacobian do, so that its slopes hold for them too.
    """
    nodes = _nodes(len(times_s), kind)
    from_s, to_s = times_s[nodes[:-1]], times_s[nodes[1:]]
    first, first_v = of.first_of_each(sets), rails_v[:, ::sets]
    chain = chained(
        Steps(first, kind, from_s[:, ::sets], to_s[:, ::sets]),
        np.repeat(first_v[:, None], len(from_s), axis=1),
        lambda _: first_v,
    )
    if sets > 1:
        chain = Steps(of, kind, from_s, to_s).chain_near(chain, sets)
    course_v = _between(np.concatenate([rails_v[:, None], chain.led_from(rails_v)], axis=1), times_s, nodes)
    flow = charging(of, kind, course_v)
    return Course(course_v.swapaxes(0, 1), flow.supply_a, flow.terminal_v)


def _nodes(instants: int, kind: Kind) -> NDArray[np.int64]:
    """The instants at which steps begin and end."""
    every = np.arange(0, instants - 1, EVERY if kind.averaged else 1)
    return np.append(every, instants - 1)


def _between(nodes_v: Samples, times_s: Samples, nodes: NDArray[np.int64]) -> Samples:
    """At all instants, straight from node to node; (rails, instants, columns)."""
    if len(nodes) == len(times_s):
        return nodes_v
    instants = np.arange(len(times_s))
    before = np.minimum(np.searchsorted(nodes, instants, side="right") - 1, len(nodes) - 2)
    from_s, to_s = times_s[nodes[before]], times_s[nodes[before + 1]]
    parts = (times_s - from_s) / np.maximum(to_s - from_s, _LEAST_S)
    return np.asarray(nodes_v[:, before] + parts * (nodes_v[:, before + 1] - nodes_v[:, before]))


def settled(of: Physics, kind: Kind, sets: int = 1) -> Samples:
    """The rails at the trigger of a tone that has been there for long, shape (rails, columns); `sets` as above."""
    if kind.averaged:
        return _settled_by_means(of, kind)
    times_s = np.linspace(0.0, 1.0, POINTS + 1)[:, None] * (2.0 * np.pi / of.angular_hz)
    first = of.first_of_each(sets)
    about_v = np.broadcast_to(_loaded_v(first, kind), (kind.rails, POINTS, len(first.supply_v)))
    chain = chained(Steps(first, kind, times_s[:-1, ::sets], times_s[1:, ::sets]), about_v, Chain.that_returns)
    if sets > 1:
        chain = Steps(of, kind, times_s[:-1], times_s[1:]).chain_near(chain, sets)
    return chain.that_returns()


def _settled_by_means(of: Physics, kind: Kind) -> Samples:
    forever_s = np.full((1, len(of.supply_v)), np.inf)
    steps = Steps(of, kind, np.zeros_like(forever_s), forever_s)
    rails_v = _loaded_v(of, kind)[None, None]
    for _ in range(SETTLING):
        rails_v = steps.ends_v(rails_v)
    return rails_v[:, 0]


def recovering_a(  # noqa: PLR0917
    of: Physics,
    kind: Kind,
    rails_v: Samples,
    quiet_v: Samples,
    quiet: float,
    edges_s: Samples,
    given: Given | None = None,
) -> tuple[Samples, Samples]:
    """Mean current of the supply and mean voltage at the terminals between edges after a burst, shape (bins, columns).

    The mean of both rails goes exponentially to where they swing under the quiet tone: at its begin, as at the burst's
    end, they are at `quiet_v`. The supply sees only that mean, and the edges are whole cycles apart. `given`: how far
    the supply has given way in the burst.
    """
    rest_v = resting_v(of, kind, quiet)
    lumped_ohm = of.lumped_ohm(kind)
    rate = (1.0 / lumped_ohm + 1.0 / of.bleed_ohm + of.switching_s) / of.reservoir_f
    left = np.exp(-rate * edges_s[:, None])
    mean = (left[:-1] - left[1:]) / (rate * np.diff(edges_s)[:, None])
    over_v = (rails_v - quiet_v).mean(axis=0)
    flow = charging(of, kind, (rest_v + over_v * mean)[None])
    if given is None:
        return flow.supply_a, flow.terminal_v
    slopes = over_v * np.diff(left, axis=0) / np.diff(edges_s)[:, None]
    more_a, more_v = shown_of(of, kind, slopes, given_after(of, kind, given, over_v, rate, edges_s))
    return flow.supply_a + more_a, flow.terminal_v + more_v


def _loaded_v(of: Physics, kind: Kind) -> Samples:
    """About where a steady tone brings the rails: as if it were clipped to a sine of the limit's size."""
    rest_v = resting_v(of, kind, 0.0)
    full_v = np.maximum(resting_v(of, kind, 1.0), rest_v / 2.0)
    return np.maximum(full_v, rest_v / 2.0)
