"""A supply's voltage changes slowly: up at its rate, down as fast as its load allows."""

from __future__ import annotations

import pytest

from benchctl.documents.bench_file.simulation import BenchSimulation, SupplySlew
from benchctl.simulator.amplifier.amplifier import State
from benchctl.simulator.amplifier.converter import OFF
from benchctl.simulator.hardware.supply_outputs import SupplyOutput
from tests.simulator.benches import accounted_j, awake, describe
from tests.simulator.talk import Room

SLEW = SupplySlew(rise_v_per_s=50.0, fall_v_per_s=80.0, capacitance_f=0.004, bleed_a=0.1)


def room() -> Room:
    """Exact instruments, and a supply that is slower than most."""
    return Room(bench=BenchSimulation(instrument_errors="none", supply_slew=SLEW))


def volts(room: Room) -> float:
    """The read-back of the main output, a mean over the 20 ms before."""
    return float(room.supply.ask("INST:NSEL 1;:MEAS:VOLT?"))


def test_it_rises_at_its_rate_and_then_stands() -> None:
    """At 50 V/s the mean over the 20 ms before 0.1 s is that of 0.09 s: 4.5 V; 14.4 V are there after 0.288 s."""
    bench = room()
    bench.supply.tell("VOLT 14.4;:CURR 90;:OUTP ON")
    for now_s, expected_v in ((0.1, 4.5), (0.2, 9.5), (0.32, 14.4), (5.0, 14.4)):
        bench.wait(now_s - bench.now_s)
        assert volts(bench) == pytest.approx(expected_v, abs=0.01)
    assert volts(bench) == pytest.approx(14.4, abs=0.003)


def test_at_once_after_switching_on_there_is_nothing() -> None:
    bench = room()
    bench.supply.tell("VOLT 14.4;:CURR 90;:OUTP ON")
    assert bench.supply.ask("OUTP?") == "1"
    assert volts(bench) == pytest.approx(0.0, abs=0.003)


def test_a_light_load_lets_it_fall_as_slowly_as_its_capacitor_empties() -> None:
    """dV/dt = I/C: 0.1 A of its own and 4 mA of a sleeping amplifier on 4 mF make 26 V/s."""
    bench = room()
    bench.supply.tell("VOLT 14.4;:CURR 90;:OUTP ON")
    bench.wait(1.0)
    bench.supply.tell("VOLT 4")
    bench.wait(0.3)
    assert volts(bench) == pytest.approx(14.4 - 26.0 * 0.29, abs=0.01)
    bench.wait(1.0)
    assert volts(bench) == pytest.approx(4.0, abs=0.003)


def test_a_load_lets_it_fall_at_its_own_rate() -> None:
    """1.6 A of an idling amplifier would empty 4 mF at 400 V/s, and it does not fall faster than 80 V/s."""
    bench = room()
    bench.power_on(101, 102)
    bench.supply.tell("INST:NSEL 1;:VOLT 10.9")
    bench.wait(0.03)
    assert volts(bench) == pytest.approx(14.4 - 80.0 * 0.02, abs=0.01)
    bench.wait(0.05)
    assert volts(bench) == pytest.approx(10.9, abs=0.003)


def test_switched_off_it_says_so_at_once_and_its_voltage_goes_by_and_by() -> None:
    bench = room()
    bench.power_on(101, 102)
    bench.supply.tell("INST:NSEL 1;:OUTP OFF")
    assert bench.supply.ask("OUTP?") == "0"
    bench.wait(0.05)
    assert 8.0 < volts(bench) < 12.8
    bench.wait(1.0)
    assert volts(bench) == pytest.approx(0.0, abs=0.003)
    assert bench.physical_bench.connections.main_output.source() is OFF


def test_over_voltage_protection_shorts_the_output() -> None:
    """It does not wait for the capacitor (a crowbar, common practice)."""
    output = SupplyOutput(0.002, SLEW, on=True, voltage_v=14.4, limit_a=90.0, overvoltage_v=14.0)
    assert output.watch(1.0, output.source().voltage_v, 0.0)
    assert output.source() is OFF


def test_over_voltage_on_the_way_is_noticed_as_soon_as_it_is_passed() -> None:
    """At 50 V/s 12 V are there after 0.24 s; a tenth of a volt is 2 ms."""
    bench = awake(describe(bench=BenchSimulation(supply_slew=SLEW)))
    output = bench.connections.main_output
    output.on = False
    bench.advance(bench.time_s + 1.0)
    output.overvoltage_v, output.on = 12.0, True
    began_s = bench.time_s
    bench.advance(began_s + 0.239)
    assert output.live
    bench.advance(began_s + 0.243)
    assert output.overvoltage_tripped


def test_an_output_that_feeds_the_remote_lead_wakes_the_amplifier_as_it_passes_its_threshold() -> None:
    """Half of 12 V, which are there after 0.12 s at 50 V/s."""
    bench = awake(describe(bench=BenchSimulation(supply_slew=SLEW)))
    remote, amplifier = bench.connections.outputs[2], bench.connections.amplifier
    remote.on = False
    bench.advance(bench.time_s + 3.0)
    assert amplifier.state is State.ASLEEP
    began_s, remote.on = bench.time_s, True
    bench.advance(began_s + 1.0)
    assert amplifier.entered_s == pytest.approx(began_s + 0.12, abs=0.003)


def test_over_current_protection_leaves_it_to_fall() -> None:
    output = SupplyOutput(0.002, SLEW, on=True, voltage_v=14.4, limit_a=90.0, overcurrent_a=50.0)
    output.move(1.0)
    output.watch(1.0, 14.4, 60.0)
    output.move(1.02)
    assert output.watch(1.02, 14.4, 60.0)
    output.move(1.07)
    assert output.source().voltage_v == pytest.approx(14.4 - 80.0 * 0.05)


def test_an_output_that_was_on_from_the_first_stands_at_its_voltage() -> None:
    """A battery has its voltage at once."""
    output = SupplyOutput(0.002, SLEW, on=True, voltage_v=12.6, limit_a=90.0)
    assert output.source().voltage_v == 12.6


def test_how_often_one_asks_does_not_change_how_it_falls() -> None:
    often, seldom = (
        awake(describe(bench=BenchSimulation(supply_slew=SLEW))),
        awake(describe(bench=BenchSimulation(supply_slew=SLEW))),
    )
    for physical_bench in (often, seldom):
        physical_bench.connections.main_output.voltage_v = 11.0
    for query in range(1, 51):
        often.advance(2.0 + query * 0.0006)
    seldom.advance(often.time_s)
    assert seldom.connections.main_output.present_v == pytest.approx(14.4 - 80.0 * 0.03)
    assert often.connections.main_output.present_v == pytest.approx(seldom.connections.main_output.present_v)
    assert often.meters.supplied == pytest.approx(seldom.meters.supplied, rel=1e-3)


def test_energy_is_accounted_for_while_it_moves() -> None:
    """Supplied = lead + heatsink + loads + what the reservoir holds, within 0.1 %, up and down and off."""
    physical_bench = awake(describe(bench=BenchSimulation(supply_slew=SLEW)), relays=(101, 102))
    physical_bench.connections.drive.output_on, physical_bench.connections.drive.level_v = True, 0.6
    for voltage_v in (11.0, 15.5, 10.8, 14.4):
        physical_bench.connections.main_output.voltage_v = voltage_v
        physical_bench.advance(physical_bench.time_s + 0.2)
    physical_bench.connections.main_output.on = False
    physical_bench.advance(physical_bench.time_s + 0.5)
    assert accounted_j(physical_bench) == pytest.approx(physical_bench.meters.supplied, rel=1e-3)
