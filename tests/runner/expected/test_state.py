"""What is foreseen of an amplifier's power and draw."""

from __future__ import annotations

import pytest

from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.supply_draw import Bursts
from tests.runner.rig import amplifier_file, bench_file

LINEAR, CLASS_D = {}, {"class: AB": "class: D"}


def state(edits: dict[str, str]) -> ExpectedState:
    """14.4 V, 4 ohm at each of two channels of 150 W, 1.6 A idle."""
    return ExpectedState(bench_file(), amplifier_file(edits), supply_v=14.4, load_ohm=4.0, frequency_hz=1000.0)


@pytest.mark.parametrize(("edits", "efficiency"), [(LINEAR, 0.55), (CLASS_D, 0.75)])
def test_the_supply_current_follows_from_power_class_and_idle_current(edits: dict[str, str], efficiency: float) -> None:
    """1.2 times the rating of both channels (common practice), over efficiency and voltage."""
    power = state(edits).full_power(for_s=5.0)
    assert power["supply_a"] == pytest.approx(2 * 1.2 * 150.0 / efficiency / 14.4 + 1.6)


def test_a_burst_that_outlasts_the_reservoir_draws_no_more_than_a_steady_tone() -> None:
    """Its first cycles still give more, and that is what load and probe must bear."""
    short, long = (
        state(LINEAR).full_bursts(for_s=5.0, trains=[(Bursts(0.1, 0.1, burst_s=each), 10.0)]) for each in (0.02, 0.4)
    )
    steady = state(LINEAR).full_power(for_s=5.0)
    assert short["supply_a"] > long["supply_a"] == steady["supply_a"]
    assert short["load_w"] == long["load_w"] > steady["load_w"]
