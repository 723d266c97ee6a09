"""A supply that gives way for a moment, held against an integration by scipy that shares no code with the fit."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from benchctl.fit.model.giving import given_after, given_in, shown_of
from benchctl.fit.model.physics import Kind
from tests.standards.test_std_fit_rails import physics

DIP_OHM, RECOVERS_S = 3e-3, 1e-3
LOAD_A, BURST_S, CYCLE_S = 20.0, 8e-3, 1e-3

OF = replace(physics(0.0), path_h=np.array([DIP_OHM * RECOVERS_S]), give_s=np.array([RECOVERS_S]))
KIND = Kind()
RATIO, EFFICIENCY = float(OF.ratio[0]), float(OF.efficiency[0])
RAIL_OHM, RESERVOIR_F = float(OF.lumped_ohm(KIND)[0]), float(OF.reservoir_f[0])


def integrated(dip_ohm: float, times_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rail and supply current, less those at rest, under a load that lasts for the burst.

    The supply's voltage falls by dip (I - w), and w follows the current I with the time in which it recovers.
    """

    def charge_a(rail_v: np.ndarray, settled_a: np.ndarray) -> np.ndarray:
        whole_ohm = RAIL_OHM + RATIO**2 / EFFICIENCY * dip_ohm
        return np.asarray((RATIO * dip_ohm * settled_a - rail_v) / whole_ohm)

    def slopes(time_s: float, state: np.ndarray) -> list[float]:
        rail_v, settled_a = state
        drawn_a = charge_a(rail_v, settled_a)
        load_a = LOAD_A if time_s < BURST_S else 0.0
        return [(drawn_a - load_a) / RESERVOIR_F, (RATIO / EFFICIENCY * drawn_a - settled_a) / RECOVERS_S]

    found = solve_ivp(slopes, (0.0, times_s[-1]), [0.0, 0.0], t_eval=times_s, max_step=2e-5, rtol=1e-8, atol=1e-9)
    return found.y[0], RATIO / EFFICIENCY * charge_a(*found.y)


def test_rails_and_current_are_those_of_the_integration_in_and_after_a_burst() -> None:
    """To first order: what is left is below a tenth of what the supply changes."""
    times_s = np.linspace(0.0, 20e-3, 2001)
    (stiff_v, stiff_a), (soft_v, soft_a) = integrated(0.0, times_s), integrated(DIP_OHM, times_s)
    edges = np.arange(0, 2001, 100)
    burst, after = edges[:9], edges[8:]
    slopes = np.diff(stiff_v[burst])[:, None] / CYCLE_S
    given = given_in(OF, KIND, slopes, np.full_like(slopes, CYCLE_S))
    rate = np.array([1.0 / (RAIL_OHM * RESERVOIR_F * 1.0001)])
    later = given_after(OF, KIND, given, stiff_v[burst[-1] :][:1], rate, times_s[after] - BURST_S)
    changes_v = np.concatenate([given.rails_v, later.rails_v[1:]])[:, 0]
    true_v = (soft_v - stiff_v)[edges]
    assert np.abs(changes_v - true_v).max() < 0.1 * np.abs(true_v).max()
    more_a, _ = shown_of(OF, KIND, slopes, given)
    true_a = np.array([(soft_a - stiff_a)[one : other + 1].mean() for one, other in pairwise(burst)])
    assert np.abs(more_a[:, 0] - true_a).max() < 0.15 * np.abs(true_a).max()


def test_a_supply_that_gives_way_by_nothing_changes_nothing() -> None:
    of = replace(OF, path_h=np.zeros(1), clamp_s=np.zeros(1))
    slopes = np.full((3, 1), -100.0)
    given = given_in(of, KIND, slopes, np.full_like(slopes, CYCLE_S))
    assert not given.rails_v.any()
    assert all(not each.any() for each in shown_of(of, KIND, slopes, given))


def test_held_rails_see_nothing_of_it() -> None:
    slopes = np.full((3, 1), -100.0)
    given = given_in(OF, Kind(regulated=True), slopes, np.full_like(slopes, CYCLE_S))
    assert given.rails_v == pytest.approx(np.zeros((4, 1)))


def test_a_supply_as_slow_as_the_rails_let_be_seen_leaves_no_corner() -> None:
    """On either side of half the rails' time constant, which nothing passes, a part more or less changes as much: a
    corner there would hold a fit fast."""
    slopes = np.full((8, 1), -100.0)

    def rails_v(part: float) -> np.ndarray:
        of = replace(OF, give_s=np.array([part * 0.5 * RAIL_OHM * RESERVOIR_F]))
        return given_in(of, KIND, slopes, np.full_like(slopes, CYCLE_S)).rails_v[-1]

    more, less = rails_v(1.01) - rails_v(1.0), rails_v(1.0) - rails_v(0.99)
    assert abs(less[0]) > 0.0
    assert more == pytest.approx(less, rel=0.1)
    assert rails_v(100.0) == pytest.approx(rails_v(1000.0), rel=1e-6)
