"""The bench as a whole."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.documents.bench_file.simulation import BenchSimulation
from benchctl.errors import UsageError
from benchctl.simulator.bench import SimulatedBench
from benchctl.simulator.model.description import Plate
from tests.simulator.benches import PLATE, describe
from tests.simulator.talk import Room


def captured(seed: int) -> bytes:
    """A record of a loud burst on a bench of this seed."""
    room = Room(describe(bench=BenchSimulation(seed=seed)))
    room.power_on(101, 102)
    room.burst(0.9, 8)
    room.record(1, 0.6, span_s=0.01, samples=10_000)
    return room.volts(1).tobytes()


def test_the_same_seed_gives_the_same_bytes() -> None:
    assert captured(7) == captured(7)


def test_another_seed_is_another_bench() -> None:
    assert captured(7) != captured(8)


def test_each_record_has_noise_of_its_own() -> None:
    room = Room()
    room.power_on(101, 102)
    records = []
    for _ in range(2):
        room.record(1, 0.01, span_s=0.01, samples=1000)
        records.append(room.volts(1))
    assert not np.array_equal(*records)


@pytest.mark.parametrize("seed", range(5))
def test_every_reading_lies_inside_the_accuracy_stated_for_it(seed: int) -> None:
    """Scope and probe 0.5 % each and 0.1 % of range; supply 0.3 % and 60 mA; thermometer 1 K; generator 0.5 %."""
    room = Room(describe(bench=BenchSimulation(seed=seed)))
    room.power_on(101, 102)
    room.play(0.4)
    room.wait(1.0)
    room.record(1, 0.35, span_s=0.01, samples=10_000)
    stage = room.physical_bench.circuit().stages[0]
    true_v = stage.amplitude_v / 2**0.5 * stage.share
    seen_v = float(room.volts(1).std()) * 20
    assert seen_v == pytest.approx(true_v, rel=0.0102)
    current_a = float(room.supply.ask("INST:NSEL 1;:MEAS:CURR?"))
    true_a = room.physical_bench.supply_means(1, 0.02).current_a
    assert current_a == pytest.approx(true_a, abs=0.003 * true_a + 0.06 + 0.03)
    heatsink_c = float(room.thermometer.ask("MEAS:TEMP? (@101)"))
    assert heatsink_c == pytest.approx(room.physical_bench.connections.heatsink_c, abs=1.1)


def test_an_error_that_belongs_to_nothing_is_refused_by_name() -> None:
    with pytest.raises(UsageError, match=r"no error is called 'prob A' on this bench; there are .*probe A"):
        SimulatedBench(describe(bench=BenchSimulation(errors={"prob A": 0.01})), lambda: 0.0)


def test_an_amplifier_without_a_remote_lead_wakes_with_its_supply() -> None:
    plate = Plate(PLATE.channels, PLATE.rated, PLATE.gain, remote_turn_on_v=0.0)
    room = Room(describe(plate=plate, remote=None))
    room.supply.tell("INST:NSEL 1;:VOLT 14.4;:CURR 90;:OUTP ON")
    room.wait(2.0)
    assert float(room.supply.ask("MEAS:CURR?")) > 0.1
    assert room.physical_bench.connections.amplifier.playing


def test_nothing_wakes_an_amplifier_whose_lead_hangs_loose() -> None:
    room = Room(describe(remote=None))
    room.power_on()
    assert not room.physical_bench.connections.amplifier.playing


def test_a_bench_without_a_supply_has_a_battery() -> None:
    plate = Plate(PLATE.channels, PLATE.rated, PLATE.gain, remote_turn_on_v=0.0)
    room = Room(describe(plate=plate, remote=None, supply=None))
    room.wait(2.0)
    room.generator.tell("OUTP ON")
    assert list(room.bench.instruments) == ["generator", "oscilloscope", "load", "thermometer"]
    assert room.physical_bench.connections.amplifier.playing


def test_a_soak_that_is_watched_keeps_no_more_of_the_past_than_read_backs_need() -> None:
    room = Room()
    room.power_on(101, 102)
    room.play(0.3)
    for _ in range(500):
        room.wait(0.2)
        room.supply.ask("INST:NSEL 1;:MEAS:CURR?;VOLT?")
        room.thermometer.ask("MEAS:TEMP? (@101)")
    assert len(room.physical_bench.history.between(0.0, room.now_s)) < 5
    assert room.physical_bench.connections.heatsink_c > 30


def test_an_offset_under_the_sine_comes_out_amplified() -> None:
    """0.25 V times the plate's gain of 31.6 is 7.9 V, less a hundredth in the output resistance."""
    room = Room()
    room.power_on(101, 102)
    room.physical_bench.connections.drive.offset_v = 0.25
    room.play(0.001)
    room.wait(0.1)
    room.supply.ask("*ESR?")
    stages = room.physical_bench.circuit().stages
    assert [stage.dc_v(40.0) for stage in stages] == pytest.approx([7.9, 7.9], rel=0.02)
