"""What the converter gives to rails at many instants: the same as for one rail at one instant, in every regime."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchctl.simulator.amplifier.converter import OFF, Converter, Source
from benchctl.simulator.amplifier.rails.charging import Charging, Samples, Windings, charge

CONVERTER = Converter(ratio=40 / 14.4, stiffness_ohm=0.36, efficiency=0.9, small_stages_a=0.3)
REGULATED = replace(CONVERTER, ratio=40 / 11.0, regulated_v=40.0)
SOUND = Source(14.4, 1000.0, 0.004)
RAILS_V = np.linspace(0.0, 45.0, 46)

REGIMES = {
    "unregulated": (CONVERTER, SOUND),
    "limited": (CONVERTER, Source(14.4, 25.0, 0.004)),
    "regulated": (REGULATED, SOUND),
    "regulated, dropped out": (REGULATED, Source(9.0, 1000.0, 0.004)),
    "regulated, limited": (REGULATED, Source(14.4, 25.0, 0.004)),
    "converter off": (replace(CONVERTER, ratio=0.0), SOUND),
    "supply off": (replace(CONVERTER, small_stages_a=0.0), OFF),
    "too weak for the small stages": (CONVERTER, Source(14.4, 0.2, 0.004)),
    "behind an output resistance": (CONVERTER, Source(14.4, 1000.0, 0.004, inner_ohm=0.006)),
    "sensed at the amplifier": (CONVERTER, Source(14.4, 1000.0, 0.004, inner_ohm=0.001, sensed=True)),
}


def windings(*parts: float, ohm: float = 0.36) -> Windings:
    """Of so many rails, each with its part of the voltage."""
    return Windings(np.array(parts)[:, None], np.full((len(parts), 1), ohm * len(parts)))


@pytest.mark.parametrize("regime", REGIMES)
@pytest.mark.parametrize("rails", [1, 2])
def test_one_rail_or_two_alike_are_charged_as_both_taken_as_one(regime: str, rails: int) -> None:
    converter, source = REGIMES[regime]
    found = charge(converter, source, np.tile(RAILS_V, (rails, 1)), windings(*[1.0] * rails))
    for number, rail_v in enumerate(RAILS_V.tolist()):
        expected = converter.draw(source, rail_v)
        at = (found.terminal_v[number], found.supply_a[number], found.charge_a[:, number].sum())
        assert at == pytest.approx(expected[:3], abs=1e-9)


def taken_w(converter: Converter, found: Charging, parts: Windings) -> Samples:
    """What the windings give, with the converter's loss."""
    open_v = np.minimum(converter.ratio * found.terminal_v, converter.regulated_v) * parts.part
    return np.asarray((open_v * found.charge_a).sum(axis=0) / converter.efficiency)


@pytest.mark.parametrize("regime", ["unregulated", "limited", "regulated", "regulated, dropped out"])
@pytest.mark.parametrize("minus_v", [0.0, 30.0, 39.0, 44.0])
def test_power_into_two_unlike_rails_comes_from_the_supply_and_none_flows_back(regime: str, minus_v: float) -> None:
    """Terminal power less the small stages' = windings' power over the efficiency; a diode never conducts backwards."""
    converter, source = REGIMES[regime]
    parts = windings(1.0, 0.9)
    found = charge(converter, source, np.stack([RAILS_V, np.full_like(RAILS_V, minus_v)]), parts)
    given_w = found.terminal_v * (found.supply_a - converter.small_stages_a)
    assert given_w == pytest.approx(taken_w(converter, found, parts), abs=1e-6)
    assert np.all(found.charge_a >= 0)
    assert np.all(found.supply_a <= source.limit_a + 1e-9)


@pytest.mark.parametrize("regime", ["unregulated", "limited", "regulated"])
def test_the_stated_slope_is_that_of_the_charge(regime: str) -> None:
    """Central differences of one rail's charge with its own voltage, away from the corners."""
    converter, source = REGIMES[regime]
    for plus_v in (12.5, 31.2):
        rails_v = np.array([[plus_v - 1e-4, plus_v, plus_v + 1e-4], [33.0] * 3])
        found = charge(converter, source, rails_v, windings(1.0, 1.0))
        slope_s = -(found.charge_a[0, 2] - found.charge_a[0, 0]) / 2e-4
        assert found.slope_s[0, 1] == pytest.approx(slope_s, rel=1e-5)


@pytest.mark.parametrize("regime", ["unregulated", "limited", "regulated", "behind an output resistance"])
def test_the_stated_slope_across_is_that_of_the_charge_with_the_other_rail(regime: str) -> None:
    converter, source = REGIMES[regime]
    rails_v = np.array([[31.2] * 3, [33.0 - 1e-4, 33.0, 33.0 + 1e-4]])
    found = charge(converter, source, rails_v, windings(1.0, 1.0))
    across_s = (found.charge_a[0, 2] - found.charge_a[0, 0]) / 2e-4
    assert found.across_s[1] == pytest.approx(across_s, rel=1e-5, abs=1e-9)
