"""What a bench can connect to an amplifier: loads, and voltages of its supply."""

from __future__ import annotations

from collections.abc import Set
from typing import TYPE_CHECKING

from benchctl.documents.bench_file.by_hand import LoadsByHand
from benchctl.documents.bench_file.instruments import RelayBank
from benchctl.documents.driver_file.supply import SupplyDriver

if TYPE_CHECKING:
    from benchctl.documents.bench_file.bench import Bench


def loaded_channels(bench: Bench, load_ohm: float) -> Set[str]:
    """The amplifier outputs that this load can be connected to."""
    load = bench.load
    if load is None:
        return frozenset()
    if isinstance(load, RelayBank | LoadsByHand):
        return load.resistors_for(load_ohm).keys()
    span = load.ratings.resistance
    return {load.channel} if span.minimum_ohm <= load_ohm <= span.maximum_ohm else frozenset()


def gives_voltage(bench: Bench, volts: float) -> bool:
    """Whether the main supply output gives this voltage, and its driver file takes it."""
    supply, driver = bench.instruments.supply, bench.drivers.get("supply")
    if supply is None or volts > supply.main.voltage_v:
        return False
    limits = driver.limits.get("voltage") if isinstance(driver, SupplyDriver) else None
    return limits is None or limits.least <= volts <= limits.most
