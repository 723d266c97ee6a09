"""The converter that charges the rails, and what it takes from the supply.

Unregulated, a rail is charged through R from n times the voltage U at the terminals:

    i = (n U - V)/R, never below 0;  I = n (sum of i)/eta + I0;  U = Us - Rp I

Regulated, from a rail E that is held: i = (E - V)/R, I = E (sum of i)/(eta U) + I0, and U follows from its quadratic.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from benchctl.fit.model.physics import Kind, Physics, Samples


class Charging(NamedTuple):
    """`charge_a` has a row for each rail."""

    charge_a: Samples
    supply_a: Samples
    terminal_v: Samples


def charging(of: Physics, kind: Kind, rails_v: Samples) -> Charging:
    """With these rails, shape (rails, columns)."""
    return _held(of, rails_v) if kind.regulated else _following(of, rails_v)


def _following(of: Physics, rails_v: Samples) -> Charging:
    rails = len(rails_v)
    path_s = 1.0 / (rails * of.stiffness_ohm)
    reflected = of.path_ohm * of.ratio / of.efficiency * path_s
    unloaded_v = of.supply_v - of.path_ohm * of.steady_a
    conducts = np.ones(rails_v.shape)
    for _ in range(rails + 1):
        terminal_v = (unloaded_v + reflected * (conducts * rails_v).sum(axis=0)) / (
            1.0 + reflected * of.ratio * conducts.sum(axis=0)
        )
        charge_a = (of.ratio * terminal_v - rails_v) * path_s * conducts
        blocks = charge_a < 0.0
        if not blocks.any():
            break
        conducts = np.where(blocks, 0.0, conducts)
    supply_a = of.ratio * charge_a.sum(axis=0) / of.efficiency + of.steady_a
    return Charging(charge_a, supply_a, of.supply_v - of.path_ohm * supply_a)


def _held(of: Physics, rails_v: Samples) -> Charging:
    charge_a = np.maximum(of.held_v - rails_v, 0.0) / (len(rails_v) * of.stiffness_ohm)
    taken_w = of.held_v * charge_a.sum(axis=0) / of.efficiency
    unloaded_v = of.supply_v - of.path_ohm * of.steady_a
    root = np.maximum(unloaded_v**2 - 4.0 * of.path_ohm * taken_w, 0.0)
    terminal_v = (unloaded_v + np.sqrt(root)) / 2.0
    return Charging(charge_a, taken_w / terminal_v + of.steady_a, terminal_v)
