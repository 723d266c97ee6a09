"""A multimeter from before SCPI."""

from __future__ import annotations

from benchctl.documents.bench_file.simulation import BenchSimulation, PointSimulation
from benchctl.scpi.device.conversation import Conversation
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.multimeters.function_words import FunctionWordsMultimeter
from benchctl.simulator.model.description import MultimeterDescription
from tests.simulator.benches import describe
from tests.simulator.talk import Talk


def test_a_word_chooses_what_it_measures_and_the_unit_stands_behind_the_number() -> None:
    points = {"bias": PointSimulation(dc_v=0.0123), "fuse": PointSimulation(resistance_ohm=47.0)}
    bench = PhysicalBench(describe(bench=BenchSimulation(instrument_errors="none", points=points)))
    unit = Talk(Conversation(FunctionWordsMultimeter(bench, lambda: 0.0, MultimeterDescription()).device))
    bench.connections.touched = "bias"
    unit.tell("VDC")
    assert unit.ask("VAL?") == "+1.2300E-02 VDC"
    unit.tell("OHMS")
    assert unit.ask("VAL?") == "OL"
    bench.connections.touched = "fuse"
    assert unit.ask("VAL?") == "+4.7000E+01 OHM"
    assert unit.ask("MEAS:VOLT:DC?") == "?>"
