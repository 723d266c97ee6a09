"""The forms of supply by name."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Now
from benchctl.simulator.instruments.simulated import SimulatedInstrument
from benchctl.simulator.instruments.supplies.supply import SimulatedSupply
from benchctl.simulator.model.description import SupplyDescription

FORMS: Mapping[str, Callable[[PhysicalBench, Now, SupplyDescription], SimulatedInstrument]] = {
    "scpi99": SimulatedSupply,
}
