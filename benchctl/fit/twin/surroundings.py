"""Where an amplifier is driven: its loads, the supply, the leads to it, and the tone."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from benchctl.measure.analyses.context import ContinuousContext, IdleContext
from benchctl.measure.conditions import Conditions

SET_WITHIN_V = 0.1
"""How well a supply gives the voltage that it is set to, where nobody has read it; a standard uncertainty (common
practice)."""


@dataclass(frozen=True)
class Uncertain:
    """A value with its standard uncertainty."""

    value: float
    u: float


@dataclass(frozen=True)
class Surroundings:
    """All loads are of one nominal resistance.

    Attributes:
        load_ohm: nominal; None without loads.
        loads: channel -> its load.
        supply_set_v: what the supply is set to.
        supply: what it gives at its own output, or at the amplifier's terminals if it senses there.
        senses_terminals: whether the supply holds its voltage at the amplifier's terminals.
        leads_ohm: the most that its leads may have; None where nobody has said so.
        driven: the channels that are driven.
        thd_limit: the bound of distortion that clean levels were searched for.
        sees_terminals: whether the voltage at the amplifier is measured.
    """

    load_ohm: float | None
    loads: Mapping[str, Uncertain]
    supply_set_v: float
    supply: Uncertain
    senses_terminals: bool
    leads_ohm: float | None
    frequency_hz: float | None
    driven: tuple[str, ...]
    thd_limit: float | None = None
    sees_terminals: bool = True


def surroundings_of(
    conditions: Conditions, context: IdleContext, read_v: float | None, *, sees_terminals: bool
) -> Surroundings | None:
    """Of an analysis; `read_v`: what the supply has read of its voltage, where it reads it. None: nobody knows what
    the supply is set to."""
    if conditions.supply_set_v is None:
        return None
    loads = context.loads if isinstance(context, ContinuousContext) else {}
    resistances = {channel: load.resistance() for channel, load in loads.items()}
    return Surroundings(
        load_ohm=conditions.load_ohm,
        loads={name: Uncertain(float(each.nominal_value), float(each.std_dev)) for name, each in resistances.items()},
        supply_set_v=conditions.supply_set_v,
        supply=_supply(conditions.supply_set_v, read_v, context),
        senses_terminals=context.senses_terminals,
        leads_ohm=context.leads_ohm,
        frequency_hz=conditions.frequency_hz,
        driven=conditions.driven,
        thd_limit=conditions.thd_limit,
        sees_terminals=sees_terminals,
    )


def _supply(set_v: float, read_v: float | None, context: IdleContext) -> Uncertain:
    accuracies = context.readings_accuracy.get("supply_voltage", ())
    if read_v is None or not math.isfinite(read_v) or not accuracies:
        return Uncertain(set_v, SET_WITHIN_V)
    limits = [each.limit(read_v) for each in accuracies] + [each.resolution / 2.0 for each in accuracies]
    return Uncertain(read_v, math.hypot(*limits) / math.sqrt(3.0))
