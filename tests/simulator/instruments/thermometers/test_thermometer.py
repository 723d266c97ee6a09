"""The temperature scanner."""

from __future__ import annotations

import pytest

from benchctl.documents.bench_file.simulation import BenchSimulation
from tests.simulator.talk import Room


def test_it_reads_each_sensor_and_an_open_input_as_not_a_number() -> None:
    room = Room()
    readings = room.thermometer.ask("MEAS:TEMP? (@101,102,103,104)").split(",")
    assert [float(reading) for reading in readings[:3]] == pytest.approx([23.0] * 3, abs=0.1)
    assert float(readings[3]) == 9.91e37


def test_heatsink_and_load_warm_while_it_plays() -> None:
    room = Room()
    room.power_on(101, 102)
    room.play(0.7)
    room.wait(60.0)
    heatsink, ambient, load = map(float, room.thermometer.ask("MEAS:TEMP? (@101:103)").split(","))
    assert heatsink > 25
    assert load > 30
    assert ambient == pytest.approx(23.0, abs=0.1)


def test_units_can_be_chosen() -> None:
    """0 degC is 273.15 K and 32 degF."""
    room = Room()
    room.thermometer.tell("UNIT:TEMP K")
    assert float(room.thermometer.ask("MEAS:TEMP? (@102)")) == pytest.approx(296.15, abs=0.1)
    room.thermometer.tell("UNIT:TEMP FAR")
    assert float(room.thermometer.ask("MEAS:TEMP? (@102)")) == pytest.approx(73.4, abs=0.2)


def test_a_channel_that_is_not_there_is_an_error() -> None:
    room = Room()
    room.thermometer.tell("MEAS:TEMP? (@999)")
    assert room.thermometer.errors() == [-222]


def test_a_sensor_comes_behind_the_heatsink_by_its_time_constant() -> None:
    """If the heatsink warms by x K each second, a lag of 10 s leaves the reading 10·x K behind."""
    room = Room(bench=BenchSimulation(instrument_errors="none", sensor_lag_s=10.0))
    room.power_on(101, 102)
    room.play(0.7)
    true_c = []
    for _ in range(2):
        room.wait(60.0)
        read_c = float(room.thermometer.ask("MEAS:TEMP? (@101)"))
        true_c.append(room.physical_bench.connections.heatsink_c)
    room.wait(10.0)
    room.thermometer.ask("MEAS:TEMP? (@101)")
    warms_k_per_s = (room.physical_bench.connections.heatsink_c - true_c[-1]) / 10.0
    assert warms_k_per_s > 0.02
    assert true_c[-1] - read_c == pytest.approx(10.0 * warms_k_per_s, rel=0.1, abs=0.1)
