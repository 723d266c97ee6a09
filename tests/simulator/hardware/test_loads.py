"""Load resistors: which are connected, their resistance when warm, how they share power."""

from __future__ import annotations

import pytest

from benchctl.simulator.hardware.loads import LoadBank, TrueResistor


def bank() -> LoadBank:
    """4 ohm and 2 ohm on A, 4 ohm on B; 100 ppm/K."""
    truths = [
        TrueResistor("A", 101, 4.0, 100e-6, 400.0),
        TrueResistor("A", 103, 2.0, 100e-6, 800.0),
        TrueResistor("B", 102, 4.0, 100e-6, 400.0),
    ]
    return LoadBank(truths, ("A", "B"), 20.0)


def test_nothing_is_connected_at_first() -> None:
    assert bank().conductances_s() == (0, 0)


def test_connected_resistors_are_in_parallel_on_their_own_channel() -> None:
    loads = bank()
    for relay in (101, 103):
        resistor = loads.by_relay(relay)
        assert resistor is not None
        loads.connect(resistor, connected=True)
    assert loads.conductances_s() == pytest.approx((0.75, 0.0))


def test_parallel_resistors_share_power_by_conductance() -> None:
    loads = bank()
    for resistor in loads.resistors[:2]:
        loads.connect(resistor, connected=True)
    loads.advance(1e6, (600.0, 0.0))
    # A third and two thirds of 600 W: each at half its rating, where each warms by half of 200 K.
    assert [resistor.temperature_c for resistor in loads.resistors] == pytest.approx([120.0, 120.0, 20.0])


def test_a_warm_resistor_has_its_coefficient_more_ohms() -> None:
    """R(T) = R20·(1 + coefficient·(T - 20))."""
    loads = bank()
    loads.connect(loads.resistors[0], connected=True)
    loads.advance(1e6, (400.0, 0.0))
    assert loads.resistors[0].resistance_ohm == pytest.approx(4.0 * (1 + 100e-6 * 200.0))
    assert loads.hottest_c() == pytest.approx(220.0)
