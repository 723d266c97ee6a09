"""What a load adds to the supply current, against closed forms: a class B stage takes 2 V peak / (pi R) times the
voltage of a rail from both rails together (Sedra and Smith, Microelectronic Circuits, the class B output stage)."""

from __future__ import annotations

import math

import pytest

from benchctl.measure.agreement.comparison import contradictions
from benchctl.measure.agreement.load import load_comparisons, relay_comparisons
from benchctl.measure.analyses.bench_check_context import LoadsContext, RelayCheck, RelaysContext
from benchctl.measure.uncertainty import Accuracy

SUPPLY_V, RAIL_V, OUTPUT_V, IDLE_A = 14.4, 35.0, 2.236, 1.6


def class_b_a(load_ohm: float) -> float:
    return 2.0 * math.sqrt(2.0) * OUTPUT_V / (math.pi * load_ohm) * RAIL_V / SUPPLY_V


def class_d_a(load_ohm: float) -> float:
    return OUTPUT_V**2 / load_ohm / SUPPLY_V / 0.85


def readings(**added_a: float) -> dict[str, list[float]]:
    return {name: [IDLE_A + adds] * 3 for name, adds in {"open, all driven": 0.0, **added_a}.items()}


def relays(at_101_a: float, at_103_a: float, resolution: float = 1e-3) -> list[str]:
    context = RelaysContext(
        relays=(
            RelayCheck(relay=101, channel="A", nominal_ohm=4.0),
            RelayCheck(relay=103, channel="A", nominal_ohm=2.0),
        ),
        output_v=OUTPUT_V,
        supply_v=SUPPLY_V,
        each_alone=False,
        readings_accuracy={"supply_current": (Accuracy(resolution=resolution),)},
    )
    names = {"relay 101, all driven": at_101_a, "relay 103, all driven": at_103_a}
    found = list(relay_comparisons({}, readings(**names), context))
    return [each.check for each in contradictions(found)] if found else ["not told"]


@pytest.mark.parametrize("draws", [class_b_a, class_d_a])
def test_a_resistor_of_half_the_resistance_draws_about_twice_as_much(draws: object) -> None:
    assert callable(draws)
    assert relays(draws(4.0), draws(2.0)) == []
    assert relays(draws(2.0), draws(2.0)) == [relays(draws(2.0), draws(4.0))[0]] != []
    assert "another resistor" in relays(draws(2.0), draws(2.0))[0]
    assert all("open or not connected" in check for check in relays(0.0, 0.0))


def test_a_stage_whose_bias_carries_a_part_of_the_current_is_sound_too() -> None:
    """Of what the lower resistor takes, the bias carries less: here 2.8 times as much for half the resistance."""
    assert relays(1.0, 2.8) == []


def test_a_draw_near_the_step_of_the_display_is_not_told() -> None:
    """2.236 V into 4 ohm are 1.25 W, 87 mA."""
    assert relays(0.0, 0.0, resolution=0.05) == ["not told"]


def loads(**added_a: float) -> list[str]:
    """4 ohm and 2 ohm one after the other, connected by hand at A and B."""
    context = LoadsContext(
        loads_ohm={name: float(name.split()[0]) for name in added_a},
        outputs_v={name: {"A": OUTPUT_V, "B": OUTPUT_V} for name in added_a},
        supply_v=SUPPLY_V,
    )
    read = {f"{name}, undriven": [1.601, 1.602, 1.603] for name in added_a}
    read |= {f"{name}, driven": [1.602 + adds] * 3 for name, adds in added_a.items()}
    return [each.check for each in contradictions(load_comparisons({}, read, context))]


def test_a_load_that_a_hand_has_connected_is_compared_with_the_one_before() -> None:
    four, two = "4 ohm at A and B", "2 ohm at A and B"
    assert loads(**{four: 2 * class_b_a(4.0), two: 2 * class_b_a(2.0)}) == []
    assert "not connected" in loads(**{four: 0.0})[0]
    (check,) = loads(**{four: 2 * class_b_a(2.0), two: 2 * class_b_a(2.0)})
    assert "not what was asked for" in check
