"""Records in which the supply limited its current."""

from __future__ import annotations

from dataclasses import replace

from benchctl.fit.examination import Examination
from benchctl.fit.reading.items import VOLTAGE, Take
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
