"""The forms of load by name, for each kind of load. A bank of relays also switches what is no load, so it is given the
whole bench."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Now
from benchctl.simulator.instruments.loads.bit_mask import BitMaskBox
from benchctl.simulator.instruments.loads.closed_list import ClosedListSwitch
from benchctl.simulator.instruments.loads.load import SimulatedElectronicLoad, SimulatedRelayBank
from benchctl.simulator.instruments.loads.relay_letters import RelayLetterBox
from benchctl.simulator.instruments.loads.relay_text import RelayTextBoard
from benchctl.simulator.instruments.loads.three_ranges import ThreeRangeLoad
from benchctl.simulator.instruments.simulated import SimulatedInstrument
from benchctl.simulator.model.description import BenchDescription, LoadDescription

RELAY_BANKS: Mapping[str, Callable[[PhysicalBench, Now, BenchDescription], SimulatedInstrument]] = {
    "scpi99": SimulatedRelayBank,
    "closed_list": ClosedListSwitch,
    "relay_text": RelayTextBoard,
    "relay_letters": RelayLetterBox,
    "bit_mask": BitMaskBox,
}
ELECTRONIC: Mapping[str, Callable[[PhysicalBench, Now, LoadDescription], SimulatedInstrument]] = {
    "scpi99": SimulatedElectronicLoad,
    "three_ranges": ThreeRangeLoad,
}
