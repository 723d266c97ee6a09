"""A multimeter with the usual words."""

from __future__ import annotations

import pytest

from benchctl.documents.bench_file.simulation import BenchSimulation, PointSimulation
from benchctl.scpi.device.conversation import Conversation
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.multimeters.measure_and_configure import Multimeter
from benchctl.simulator.model.description import MultimeterDescription
from tests.simulator.benches import awake, describe
from tests.simulator.talk import Talk

POINTS = {
    "bias A": PointSimulation(bias_of="A", across_ohm=0.33),
    "rail plus": PointSimulation(rail="plus"),
    "rail minus": PointSimulation(rail="minus"),
    "mains": PointSimulation(ac_v=230.0),
    "fuse": PointSimulation(resistance_ohm=1.5),
    "heatsink": PointSimulation(sensor="heatsink"),
}
CHANNELS = dict(enumerate(POINTS, start=101))
BENCH = BenchSimulation(seed=2150, instrument_errors="none", points=POINTS)


def at_idle() -> PhysicalBench:
    return awake(describe(bench=BENCH))


def meter(physical_bench: PhysicalBench, channels: dict[int, str]) -> Talk:
    description = MultimeterDescription(channels)
    return Talk(Conversation(Multimeter(physical_bench, lambda: physical_bench.time_s, description).device))


def test_with_a_scanner_each_channel_shows_its_point() -> None:
    bench = at_idle()
    unit = meter(bench, CHANNELS)
    assert float(unit.ask("MEAS:VOLT:DC? (@102)")) == pytest.approx(bench.rail_v, rel=1e-4)
    assert float(unit.ask("MEAS:VOLT? (@103)")) == pytest.approx(-bench.rail_v, rel=1e-4)
    assert float(unit.ask("MEAS:VOLT:AC? 300,(@104)")) == pytest.approx(230.0, rel=1e-3)
    assert float(unit.ask("MEAS:RES? (@105)")) == pytest.approx(1.5, rel=1e-3)
    assert float(unit.ask("MEAS:FRES? (@105)")) == pytest.approx(1.5, rel=1e-3), "with four leads"
    assert float(unit.ask("MEAS:TEMP? TC,K,(@106)")) == pytest.approx(23.0, abs=0.5)
    assert unit.errors() == []


def test_bias_is_ohms_law_with_the_idle_current_that_the_supply_gives() -> None:
    """Each channel's bias runs from rail to rail, so both take 2·2·V·I from a lossless converter: of the idle power
    (1.6 A at 14.4 V on the plate) 4 W is for small stages, and 8 % is lost on the way."""
    bench = at_idle()
    shown_v = float(meter(bench, CHANNELS).ask("MEAS:VOLT:DC? 0.1,(@101)"))
    bias_w = (1.6 * 14.4 - 4.0) * 0.92
    assert shown_v / 0.33 * 2 * 2 * bench.rail_v == pytest.approx(bias_w, rel=0.05)


def test_it_answers_several_channels_in_one_list() -> None:
    bench = at_idle()
    shown = [float(each) for each in meter(bench, CHANNELS).ask("MEAS:VOLT:DC? (@102:103)").split(",")]
    assert shown == pytest.approx([bench.rail_v, -bench.rail_v], rel=1e-4)


def test_without_one_it_shows_where_a_person_has_put_its_leads() -> None:
    bench = at_idle()
    unit = meter(bench, {})
    unit.tell("CONF:VOLT:AC")
    assert float(unit.ask("READ?")) == pytest.approx(0.0, abs=1e-3), "they touch nothing"
    bench.connections.touched = "mains"
    assert float(unit.ask("READ?")) == pytest.approx(230.0, rel=1e-3)
    assert float(unit.ask("MEAS:RES?")) == 9.9e37, "no resistance is there"
    unit.tell("MEAS:VOLT:DC? (@101)")
    assert unit.errors() == [-222], "there is no scanner"


def test_a_range_that_is_too_small_shows_an_overload() -> None:
    bench = at_idle()
    bench.connections.touched = "rail plus"
    unit = meter(bench, {})
    assert float(unit.ask("MEAS:VOLT:DC? 0.1")) == 9.9e37
    assert float(unit.ask("MEAS:VOLT:DC? 50")) == pytest.approx(bench.rail_v, rel=1e-4)
    unit.tell("MEAS:VOLT:DC? 5000")
    assert unit.errors() == [-222]
