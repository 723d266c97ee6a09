"""Records in which the supply limited its current."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from benchctl.fit.examination import Examination
from benchctl.fit.reading.items import METER_VOLTAGE, VOLTAGE, Take
from benchctl.fit.reading.limited import limited


def lowered(take: Take, volts: float) -> Take:
    """The take with a supply that falls by so much more under its highest current."""
    item = take.items[VOLTAGE]
    values = item.values.copy()
    values[values.argmin()] -= volts
    return replace(take, items={**take.items, VOLTAGE: replace(item, values=values)})


def test_a_supply_that_holds_its_voltage_limits_no_record(found: Examination) -> None:
    assert not limited(found.run.takes)


def test_a_record_whose_voltage_falls_far_beyond_leads_is_named(found: Examination) -> None:
    takes = list(found.run.takes)
    number = next(number for number, take in enumerate(takes) if take.shape == "burst" and take.cycles == 20)
    takes[number] = lowered(takes[number], 1.5)
    told = limited(takes)
    assert list(told) == [number]
    assert "the supply limited its current" in told[number]


def at_a_lower_supply(take: Take, volts: float) -> Take:
    """The take as if the supply had been set so much lower."""
    items = {
        name: replace(item, values=item.values - volts) if name in {VOLTAGE, METER_VOLTAGE} else item
        for name, item in take.items.items()
    }
    return replace(take, supply_v=take.supply_v - volts, items=items)


def test_a_tone_at_a_lower_supply_voltage_is_held_against_a_rest_at_that_voltage(found: Examination) -> None:
    takes = found.run.takes
    number = next(number for number, take in enumerate(takes) if take.shape == "steady")
    lower = [at_a_lower_supply(take, 2.0) for take in takes[number - 1 : number + 1]]
    assert lower[0].shape == "rest"
    assert not limited([*takes, *lower])


def test_a_fall_that_steps_of_the_converter_hide_in_one_record_makes_no_other_a_limit(found: Examination) -> None:
    """Steps of 0.2 V, as of 8 bits over 50 V: a continuous tone whose fall is lost in them says that the leads have no
    resistance; bursts that fall by 0.15 V are no limit for that."""
    coarse = [coarsely(take) for take in found.run.takes]
    number = next(number for number, take in enumerate(coarse) if take.shape == "steady")
    rest_v = next(take for take in coarse if take.shape == "rest").items[VOLTAGE].values[0]
    item = coarse[number].items[VOLTAGE]
    coarse[number] = replace(
        coarse[number], items={**coarse[number].items, VOLTAGE: replace(item, values=np.full(1, rest_v))}
    )
    burst = next(number for number, take in enumerate(coarse) if take.shape == "burst" and take.cycles == 20)
    coarse[burst] = lowered(coarse[burst], 0.11)
    values_v = coarse[burst].items[VOLTAGE].values
    assert values_v[0] - values_v.min() > 0.01 * coarse[burst].supply_v
    assert not limited(coarse)


def coarsely(take: Take) -> Take:
    """The take by a converter with steps of 0.2 V."""
    if VOLTAGE not in take.items:
        return take
    item = take.items[VOLTAGE]
    return replace(take, items={**take.items, VOLTAGE: replace(item, scale=replace(item.scale, step=0.2))})
