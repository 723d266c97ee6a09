"""True records hold what truly happened, without any instrument's error."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.documents.bench_file.simulation import BenchSimulation
from benchctl.simulator.true_records import TrueRecords
from tests.simulator.benches import describe
from tests.simulator.talk import Room


@pytest.fixture
def room() -> Room:
    """A bench whose instruments all have errors."""
    return Room(describe(bench=BenchSimulation(seed=5)))


@pytest.fixture
def true_records(room: Room) -> TrueRecords:
    return TrueRecords(room.bench)


def test_a_record_is_kept_as_it_was_at_the_probes_tips(room: Room, true_records: TrueRecords) -> None:
    room.power_on(101, 102)
    room.play(0.1)
    room.record(1, 0.1, span_s=0.02, samples=1000)
    record = true_records.record_at(room.now_s)
    times_s = record.start_s + np.arange(20_000) * 1e-6
    level_v = room.physical_bench.connections.drive.level_v
    physics = room.physical_bench.connections.physics
    share = 1.0 / (1.0 + physics.output_resistance_ohm * record.load_s("A"))
    volts = record.output_v("A", times_s)
    assert float(np.std(volts)) == pytest.approx(physics.gain * level_v * share, rel=1e-3)
    assert 1.0 / record.load_s("A") == pytest.approx(4.0, rel=0.005)
    current_a = float(record.supply_current_a(times_s).mean())
    assert float(record.terminal_v(times_s).mean()) == pytest.approx(
        room.physical_bench.connections.main_output.voltage_v - record.lead_ohm * current_a, rel=1e-4
    )


def test_the_loudest_stretch_of_a_burst_begins_where_the_burst_does(room: Room, true_records: TrueRecords) -> None:
    room.power_on(101, 102)
    room.burst(0.2, cycles=8, every_s=0.1)
    room.record(1, 0.5, span_s=0.08, samples=8000, pretrigger_s=0.01)
    record = true_records.record_at(room.now_s)
    assert record.loudest_s() == pytest.approx(record.start_s + 0.01, abs=1e-6)
    assert record.frequency_hz == pytest.approx(1000.0, rel=20e-6)


def test_each_record_is_found_by_the_time_at_which_it_was_there(room: Room, true_records: TrueRecords) -> None:
    room.power_on(101, 102)
    room.play(0.1)
    ends_s = []
    for _ in range(2):
        room.record(1, 0.1, span_s=0.02, samples=1000)
        ends_s.append(room.now_s)
    assert true_records.record_at(ends_s[0]).end_s < true_records.record_at(ends_s[1]).start_s
    with pytest.raises(LookupError, match="no record"):
        true_records.record_at(1.0)


def test_the_heatsink_is_remembered_as_it_was(room: Room, true_records: TrueRecords) -> None:
    room.power_on(101, 102)
    before_s, before_c = room.now_s, true_records.heatsink_c(room.now_s)
    room.play(0.4)
    for _ in range(30):
        room.wait(1.0)
        room.supply.ask("MEAS:VOLT?")
    assert true_records.heatsink_c(room.now_s) > before_c + 0.5
    assert true_records.heatsink_c(before_s) == before_c
    assert math.isfinite(before_c)
    with pytest.raises(LookupError, match="not begun"):
        true_records.heatsink_c(-1.0)
