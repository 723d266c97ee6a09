"""What a supply that gives way for a moment does to rails, current and voltage, to first order.

Leads have an inductance, and a supply's regulation needs some time. Both let the voltage at the terminals fall by u
while the current rises, as an inductance L does that a resistance L/tau bridges. With s the slope of the rails' mean:

    tau dy/dt = s - y;   u = L n/(eta R) y;   T d(delta)/dt = n u - delta

y is the slope as the supply follows it, R the rails' source resistance with the path, T their time constant, and delta
what the supply takes from both rails alike. A swing from one rail to the other within a cycle does not reach it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchctl.fit.model.physics import Kind, Physics, Samples

SOONEST = 0.5
"""Of the time constant of the rails: a supply recovers in no more."""

_SHARP = 4.0
"""The higher, the nearer to a corner."""


@dataclass(frozen=True)
class Given:
    """What a supply has given way.

    Attributes:
        slopes: mean slope as the supply follows it, in V/s, shape (bins, columns).
        rails_v: of both rails alike, at the edges of the bins, (bins + 1, columns).
        lasting_s: of each bin.
        last: the slope as the supply follows it, at the end.
    """

    slopes: Samples
    rails_v: Samples
    lasting_s: Samples
    last: Samples

    @property
    def rises(self) -> Samples:
        """Mean slope of the rails by it."""
        return np.asarray(np.diff(self.rails_v, axis=0) / self.lasting_s)


def given_in(of: Physics, kind: Kind, slopes: Samples, lasting_s: Samples) -> Given:
    """From rest, while the rails move by a slope for a time, then by the next; what the rails move by it counts too."""
    first = _given(of, kind, slopes, lasting_s)
    return _given(of, kind, slopes + first.rises, lasting_s)


def _given(of: Physics, kind: Kind, slopes: Samples, lasting_s: Samples) -> Given:
    follows_s, rails_s, hurry = _constants(of, kind)
    means, found = np.zeros_like(slopes), np.zeros((len(slopes) + 1, *slopes.shape[1:]))
    last = np.zeros_like(slopes[0])
    for place, (slope, for_s) in enumerate(zip(slopes, lasting_s, strict=True)):
        gone, left = np.exp(-for_s / follows_s), np.exp(-for_s / rails_s)
        over = last - slope
        means[place] = slope + over * (1.0 - gone) * follows_s / for_s
        brought = rails_s * (slope * (1.0 - left) + over * (left - gone) * follows_s / (rails_s - follows_s))
        found[place + 1] = found[place] * left + hurry * brought
        last = slope + over * gone
    return Given(means, found, lasting_s, last)


def given_after(  # noqa: PLR0917
    of: Physics, kind: Kind, before: Given, over_v: Samples, rate: Samples, edges_s: Samples
) -> Given:
    """After that, while the rails lose the rest `over_v` exponentially; between edges, the first one being 0."""
    follows_s, rails_s, hurry = _constants(of, kind)
    gone, left, lost = (np.exp(-edges_s[:, None] * each) for each in (1.0 / follows_s, 1.0 / rails_s, rate))
    dies = -rate * over_v / (1.0 - rate * follows_s)
    rest = before.last - dies
    lasting_s = np.diff(edges_s)[:, None]
    means = -(dies / rate * np.diff(lost, axis=0) + rest * follows_s * np.diff(gone, axis=0)) / lasting_s
    of_rest = rest * (left - gone) * follows_s * rails_s / (rails_s - follows_s)
    of_rails = dies * (lost - left) / (1.0 / rails_s - rate)
    rails_v = before.rails_v[-1] * left + hurry * (of_rest + of_rails)
    return Given(means, rails_v, np.broadcast_to(lasting_s, means.shape), before.last)


def _constants(of: Physics, kind: Kind) -> tuple[Samples, Samples, Samples]:
    """Time constants of supply and rails, and by which part the rails move faster."""
    rails_s = of.lumped_ohm(kind) * of.reservoir_f
    return _at_most(of.give_s, SOONEST * rails_s), rails_s, of.hurry(kind)


def _at_most(value: Samples, most: Samples) -> Samples:
    """The value where it is far below the most, and never more. A corner between would leave the fit no way on."""
    return np.asarray((value**-_SHARP + most**-_SHARP) ** (-1.0 / _SHARP))


def shown_of(of: Physics, kind: Kind, slopes: Samples, given: Given) -> tuple[Samples, Samples]:
    """What it adds to the supply's current, and to the voltage at the terminals; a clamp is late besides."""
    if kind.regulated:
        return np.zeros_like(slopes), np.zeros_like(slopes)
    to_supply = of.ratio / of.efficiency
    more_a = to_supply * of.reservoir_f * given.rises
    late_a = to_supply * of.clamp_s / of.lumped_ohm(kind) * slopes
    return more_a + late_a, to_supply * of.path_h / of.lumped_ohm(kind) * given.slopes - of.path_ohm * more_a


def nothing_given(slopes: Samples) -> Given:
    """Of rails that stay where they are."""
    return Given(
        np.zeros_like(slopes), np.zeros((len(slopes) + 1, *slopes.shape[1:])), np.ones_like(slopes), slopes[-1]
    )
