"""A scanner that answers a whole list of channels."""

from __future__ import annotations

import pytest

from benchctl.documents.bench_file.simulated_instruments import ThermometerSimulation
from benchctl.scpi.device.conversation import Conversation
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.thermometers.scan_list import ScanListThermometer
from benchctl.simulator.model.description import Spec, ThermometerDescription
from tests.simulator.benches import describe
from tests.simulator.talk import Talk

WIRED = ThermometerDescription({101: "heatsink", 102: "ambient", 103: "load"}, Spec(fixed=1.0))

COARSE = ThermometerSimulation(speaks="scan_list", step_k=0.5)


def scanner(wired: ThermometerDescription = WIRED) -> Talk:
    physical_bench = PhysicalBench(describe(thermometer=wired))
    return Talk(Conversation(ScanListThermometer(physical_bench, lambda: 0.0, wired).device))


def test_one_question_reads_every_channel_of_its_list() -> None:
    unit = scanner()
    unit.tell("CONF:TEMP TC,K,(@101:104)", "ROUT:SCAN (@101:103)")
    assert [float(each) for each in unit.ask("READ?").split(",")] == pytest.approx([23.0] * 3, abs=0.1)
    unit.tell("ROUT:SCAN (@104,101)")
    assert float(unit.ask("READ?").split(",")[0]) == 9.9e37, "no sensor is on 104"
    assert unit.errors() == []


def test_without_a_list_or_a_channel_that_measures_temperature_it_reads_nothing() -> None:
    unit = scanner()
    unit.tell("READ?", "ROUT:SCAN (@101)", "READ?")
    assert unit.errors() == [-221, -221]


def test_a_coarse_one_shows_steps() -> None:
    unit = scanner(ThermometerDescription({101: "heatsink"}, Spec(fixed=1.0), noise_k=0.3, simulated=COARSE))
    unit.tell("CONF:TEMP TC,K,(@101)", "ROUT:SCAN (@101)")
    shown = {float(unit.ask("READ?")) for _ in range(50)}
    assert len(shown) > 1
    assert all((each * 2).is_integer() for each in shown)
