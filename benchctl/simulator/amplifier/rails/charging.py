"""What the converter gives to each rail at many instants at once.

The same converter as in `converter.py`, but its rails may stand at different voltages: each has a source resistance and
a diode of its own, and all of them share the terminals and the supply.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchctl.simulator.amplifier.converter import Converter, Source
from benchctl.simulator.amplifier.rows import total

Samples = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Charging:
    """At each instant; `charge_a` and `slope_s` have a row for each rail.

    Attributes:
        terminal_v: at the amplifier's terminals.
        charge_a: into each rail.
        slope_s: how it falls with the voltage of its own rail, A/V, positive.
        across_s: how it rises with the voltage of the other rail, A/V; of one row, and 0 where only one is followed.
    """

    terminal_v: Samples
    supply_a: Samples
    charge_a: Samples
    slope_s: Samples
    across_s: Samples


@dataclass(frozen=True, slots=True)
class Windings:
    """What charges each rail (a column): its part of the converter's voltage, and the resistance that it is behind."""

    part: Samples
    ohm: Samples


def charge(converter: Converter, source: Source, behind_v: Samples, windings: Windings) -> Charging:
    """With `behind_v` behind the resistances of the rails."""
    if converter.ratio <= 0:
        return _idle(converter, source, behind_v)
    drawn = _at_constant_voltage(converter, source, behind_v, windings)
    limited = drawn.supply_a > source.limit_a
    if not limited.any():
        return drawn
    return _mixed(limited, _at_constant_current(converter, source, behind_v, windings), drawn)


def _idle(converter: Converter, source: Source, behind_v: Samples) -> Charging:
    """A converter that is off takes nothing; the supply may still be unable to feed the small stages."""
    small_a = converter.small_stages_a
    starved = small_a > source.limit_a
    terminal_v = 0.0 if starved else source.voltage_v - source.path_ohm * small_a
    nothing = np.zeros_like(behind_v)
    flat = np.ones(behind_v.shape[1])
    return Charging(terminal_v * flat, min(small_a, source.limit_a) * flat, nothing, nothing, 0.0 * flat)


def _at_constant_voltage(converter: Converter, source: Source, behind_v: Samples, windings: Windings) -> Charging:
    if math.isinf(converter.regulated_v):
        return _unregulated(converter, source, behind_v, windings)
    regulated = _regulated(converter, source, behind_v, windings)
    holds = converter.ratio * regulated.terminal_v >= converter.regulated_v
    return regulated if holds.all() else _mixed(holds, regulated, _unregulated(converter, source, behind_v, windings))


def _unregulated(converter: Converter, source: Source, behind_v: Samples, windings: Windings) -> Charging:
    """U = Us - Rl·(sum of n·i/η + I0) and i = (n·U - V)/R for every rail whose diode conducts, solved for U."""
    ratios = converter.ratio * windings.part
    unloaded_v = source.voltage_v - source.path_ohm * converter.small_stages_a
    reflected = source.path_ohm / converter.efficiency * ratios
    paths_s = 1 / windings.ohm
    while True:
        loaded = 1 + total(reflected * ratios * paths_s)
        terminal_v = (unloaded_v + total(reflected * paths_s * behind_v)) / loaded
        charge_a = (ratios * terminal_v - behind_v) * paths_s
        blocked = charge_a < 0
        if not blocked.any():
            break
        paths_s = np.where(blocked, 0.0, paths_s)
    supply_a = total(ratios * charge_a) / converter.efficiency + converter.small_stages_a
    slope_s = np.full_like(behind_v, paths_s * (1 - reflected * ratios * paths_s / loaded))
    across_s = np.full_like(terminal_v, _across(reflected * paths_s, ratios * paths_s, loaded))
    return Charging(terminal_v, supply_a, charge_a, slope_s, across_s)


def _regulated(converter: Converter, source: Source, behind_v: Samples, windings: Windings) -> Charging:
    """With E held; terminals of 0 V where it cannot be."""
    held_v = converter.regulated_v * windings.part
    charge_a = np.maximum((held_v - behind_v) / windings.ohm, 0.0)
    taken_w = total(held_v * charge_a) / converter.efficiency
    unloaded_v = source.voltage_v - source.path_ohm * converter.small_stages_a
    root = unloaded_v**2 - 4 * source.path_ohm * taken_w
    terminal_v = np.where(root >= 0, (unloaded_v + np.sqrt(np.maximum(root, 0.0))) / 2, 0.0)
    supply_a = taken_w / np.maximum(terminal_v, 1e-9) + converter.small_stages_a
    return Charging(terminal_v, supply_a, charge_a, (charge_a > 0) / windings.ohm, np.zeros_like(terminal_v))


def _at_constant_current(converter: Converter, source: Source, behind_v: Samples, windings: Windings) -> Charging:
    """The rails share what the supply still gives: the lower ones get all that reaches them."""
    flat = np.ones(behind_v.shape[1])
    left_a = source.limit_a - converter.small_stages_a
    if left_a <= 0:
        nothing = np.zeros_like(behind_v)
        return Charging(0.0 * flat, source.limit_a * flat, nothing, nothing, 0.0 * flat)
    ratios = converter.ratio * windings.part
    paths_s = 1 / windings.ohm
    while True:
        loaded_s = total(ratios**2 * paths_s)
        terminal_v = (left_a * converter.efficiency + total(ratios * paths_s * behind_v)) / loaded_s
        charge_a = (ratios * terminal_v - behind_v) * paths_s
        blocked = charge_a < 0
        if not blocked.any():
            break
        paths_s = np.where(blocked, 0.0, paths_s)
    slope_s = np.full_like(behind_v, paths_s * (1 - ratios**2 * paths_s / loaded_s))
    across_s = np.full_like(terminal_v, _across(ratios * paths_s, ratios * paths_s, loaded_s))
    return Charging(terminal_v, source.limit_a * flat, charge_a, slope_s, across_s)


def _across(raising: Samples, raised: Samples, loaded: Samples) -> Samples:
    """What one rail's voltage gives the other through the terminals that they share."""
    return np.asarray(raising[0] * raised[-1] / loaded) if len(raised) == 2 else np.zeros_like(loaded)


def _mixed(first: NDArray[np.bool_], yes: Charging, no: Charging) -> Charging:
    """Instant by instant one or the other."""
    return Charging(
        np.where(first, yes.terminal_v, no.terminal_v),
        np.where(first, yes.supply_a, no.supply_a),
        np.where(first, yes.charge_a, no.charge_a),
        np.where(first, yes.slope_s, no.slope_s),
        np.where(first, yes.across_s, no.across_s),
    )
