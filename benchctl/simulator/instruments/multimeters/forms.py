"""The forms of multimeter by name."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Now
from benchctl.simulator.instruments.multimeters.function_words import FunctionWordsMultimeter
from benchctl.simulator.instruments.multimeters.measure_and_configure import Multimeter
from benchctl.simulator.instruments.simulated import SimulatedInstrument
from benchctl.simulator.model.description import MultimeterDescription

FORMS: Mapping[str, Callable[[PhysicalBench, Now, MultimeterDescription], SimulatedInstrument]] = {
    "measure_and_configure": Multimeter,
    "function_words": FunctionWordsMultimeter,
}
