"""Over-voltage, over-current, and the source that the load sees."""

from __future__ import annotations

from benchctl.simulator.amplifier.converter import OFF
from benchctl.simulator.hardware.supply_outputs import SupplyOutput


def output() -> SupplyOutput:
    """Switched on at 14.4 V, 90 A."""
    return SupplyOutput(lead_ohm=0.002, on=True, voltage_v=14.4, limit_a=90.0)


def test_over_voltage_switches_off_at_once_and_stays_off_after_clearing() -> None:
    supply = output()
    supply.overvoltage_v = 14.0
    assert supply.watch(1.0, 14.4, 0.0)
    assert supply.overvoltage_tripped
    supply.clear()
    assert not supply.tripped
    assert supply.source() is OFF


def test_over_current_must_last_before_it_trips() -> None:
    supply = output()
    supply.overcurrent_a = 50.0
    assert not supply.watch(1.000, 14.4, 60.0)
    assert not supply.watch(1.005, 14.4, 40.0)
    assert not supply.watch(1.008, 14.4, 60.0)
    assert supply.watch(1.020, 14.4, 60.0)
    assert supply.overcurrent_tripped


def test_an_output_that_is_off_does_not_trip() -> None:
    supply = output()
    supply.on, supply.overvoltage_v = False, 1.0
    assert not supply.watch(1.0, 14.4, 0.0)
