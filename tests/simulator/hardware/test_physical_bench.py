"""The whole bench in time: energy, order of powers, waking, protections."""

from __future__ import annotations

from random import Random

import pytest

from benchctl.documents.amplifier_file.simulation import AmplifierSimulation, HeatsinkSimulation
from benchctl.simulator.amplifier.amplifier import State
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from tests.simulator.benches import accounted_j, awake, describe
from tests.simulator.models import MODELS, description


def changed(chance: Random) -> tuple[str, float]:
    """Any control at any value."""
    return chance.choice(
        [
            ("level", chance.uniform(0.0, 1.5)),
            ("burst", chance.uniform(0.0, 1.5)),
            ("supply", chance.uniform(8.0, 16.0)),
            ("limit", chance.uniform(5.0, 100.0)),
            ("relay", chance.choice([101.0, 102.0, 103.0, 104.0])),
            ("remote", chance.choice([0.0, 12.0])),
        ]
    )


def act(physical_bench: PhysicalBench, kind: str, value: float) -> None:
    """One change of a control."""
    connections = physical_bench.connections
    if kind == "level":
        connections.drive.stop_list()
        connections.drive.output_on, connections.drive.level_v = True, value
    elif kind == "burst":
        connections.drive.output_on, connections.drive.levels_v, connections.drive.dwells_s = (
            True,
            (value, value / 10),
            (0.02, 0.08),
        )
        connections.drive.start_list(physical_bench.time_s)
    elif kind == "supply":
        connections.main_output.voltage_v = value
    elif kind == "limit":
        connections.main_output.limit_a = value
    elif kind == "remote":
        connections.outputs[2].voltage_v = value
    elif int(value) in connections.closed_relays:
        connections.open_relay(int(value), physical_bench.time_s)
    else:
        connections.close_relay(int(value), physical_bench.time_s)


@pytest.mark.parametrize("model", MODELS)
def test_every_joule_is_accounted_for_whatever_the_technician_does(model: str) -> None:
    """Supplied = lead + heatsink + loads + what the reservoir holds, within 0.1 % after any drive of any model: ten
    changes of any control one after the other, each for up to a second."""
    chance = Random(model)
    physical_bench = awake(description(model), relays=(101, 102))
    for _ in range(10):
        act(physical_bench, *changed(chance))
        physical_bench.advance(physical_bench.time_s + chance.uniform(0.03, 1.0) ** 2)
        assert accounted_j(physical_bench) == pytest.approx(physical_bench.meters.supplied, rel=1e-3)


def test_how_often_one_asks_does_not_change_what_happens() -> None:
    often, seldom = awake(relays=(101, 102)), awake(relays=(101, 102))
    for physical_bench in (often, seldom):
        act(physical_bench, "burst", 0.9)
    for query in range(1, 400):
        often.advance(2.0 + query * 0.0137)
    end_s = often.time_s
    seldom.advance(end_s)
    assert often.rail_v == pytest.approx(seldom.rail_v, abs=2e-3)
    assert often.meters.loads == pytest.approx(seldom.meters.loads, rel=1e-4)


def power_by_cycle(physical_bench: PhysicalBench, cycles: int) -> list[float]:
    """Power of channel A in each cycle of a fresh burst, from the clipped amplitude at the end of the cycle."""
    drive = physical_bench.connections.drive
    drive.output_on, drive.levels_v, drive.dwells_s = True, (1.0, 0.1), (cycles * 1e-3, 0.5 - cycles * 1e-3)
    drive.start_list(physical_bench.time_s)
    start_s = physical_bench.time_s
    powers = []
    for cycle in range(cycles):
        physical_bench.advance(start_s + (cycle + 0.99) * 1e-3)
        powers.append(physical_bench.circuit().flows(physical_bench.rail_v).loads[0])
    return powers


def test_the_first_cycle_delivers_most_and_each_next_one_less_down_to_the_continuous_power() -> None:
    powers = power_by_cycle(awake(relays=(101, 102)), 20)
    assert powers == sorted(powers, reverse=True)
    physical_bench = awake(relays=(101, 102))
    act(physical_bench, "level", 1.0)
    physical_bench.advance(3.0)
    assert powers[0] > 1.1 * powers[-1]
    assert powers[-1] > physical_bench.circuit().flows(physical_bench.rail_v).loads[0]


def test_asleep_it_takes_milliamperes_and_gives_nothing() -> None:
    physical_bench = PhysicalBench(describe())
    main = physical_bench.connections.main_output
    main.on, main.voltage_v, main.limit_a = True, 14.4, 90.0
    act(physical_bench, "level", 1.0)
    physical_bench.connections.close_relay(101, physical_bench.time_s)
    physical_bench.advance(5.0)
    assert physical_bench.supply_means(1, 0.02).current_a == pytest.approx(0.004)
    assert physical_bench.meters.loads == 0.0


def test_it_wakes_with_the_remote_lead_and_plays_after_its_delay() -> None:
    """1.5 s after half of its remote voltage is there, which a supply of 100 V/s gives after 60 ms."""
    physical_bench = PhysicalBench(describe())
    main, remote = physical_bench.connections.outputs[1], physical_bench.connections.outputs[2]
    main.on, main.voltage_v, main.limit_a = True, 14.4, 90.0
    physical_bench.advance(1.0)
    remote.on, remote.voltage_v, remote.limit_a = True, 12.0, 0.5
    physical_bench.advance(2.55)
    assert physical_bench.connections.amplifier.state is State.WAKING
    physical_bench.advance(2.57)
    assert physical_bench.connections.amplifier.state is State.PLAYING


def test_an_inrush_past_the_supply_limit_is_ridden_through() -> None:
    """With the converter's soft start, a supply of 20 A can charge the reservoir."""
    physical_bench = PhysicalBench(describe())
    main, remote = physical_bench.connections.outputs[1], physical_bench.connections.outputs[2]
    main.on, main.voltage_v, main.limit_a = True, 14.4, 20.0
    remote.on, remote.voltage_v, remote.limit_a = True, 12.0, 0.5
    physical_bench.advance(2.0)
    assert physical_bench.connections.amplifier.state is State.PLAYING


def small_heatsink() -> PhysicalBench:
    """Warms up in a minute."""
    heatsink = HeatsinkSimulation(
        junction_k_per_w=0.2, junction_capacity_j_per_k=5.0, ambient_k_per_w=1.0, capacity_j_per_k=60.0
    )
    return awake(describe(AmplifierSimulation(heatsink=heatsink)), (101, 102))


def test_heat_silences_it_and_cooling_brings_it_back_at_the_lower_temperature() -> None:
    physical_bench = small_heatsink()
    act(physical_bench, "level", 0.5)
    hottest = 0.0
    while physical_bench.connections.amplifier.state is not State.HOT:
        physical_bench.advance(physical_bench.time_s + 0.2)
        hottest = max(hottest, physical_bench.connections.heatsink_c)
        assert physical_bench.time_s < 600
    assert hottest == pytest.approx(95.0, abs=1.0)
    while physical_bench.connections.amplifier.state is State.HOT:
        assert physical_bench.circuit().flows(physical_bench.rail_v).loads == (0.0, 0.0)
        physical_bench.advance(physical_bench.time_s + 0.2)
        assert physical_bench.time_s < 1200
    assert physical_bench.connections.heatsink_c == pytest.approx(75.0, abs=1.0)


def test_a_supply_that_folds_back_starves_the_amplifier() -> None:
    physical_bench = awake(relays=(103, 104))
    physical_bench.connections.main_output.limit_a = 10.0
    act(physical_bench, "level", 1.0)
    seen = set()
    for tick in range(100):
        physical_bench.advance(2.0 + tick * 0.01)
        seen.add(physical_bench.connections.amplifier.state)
    assert State.STARVED in seen
    assert not physical_bench.connections.amplifier.playing


def test_over_current_protection_of_the_supply_cuts_it_off() -> None:
    physical_bench = awake(relays=(103, 104))
    physical_bench.connections.main_output.overcurrent_a = 40.0
    act(physical_bench, "level", 1.0)
    physical_bench.advance(2.2)
    assert physical_bench.connections.main_output.overcurrent_tripped
    assert physical_bench.supply_means(1, 0.02) == (0.0, 0.0)


def test_an_hour_of_bursts_warms_the_heatsink_towards_its_steady_rise() -> None:
    """Bursts of 20 in 500 ms give the same mean heat as their energy meter says."""
    physical_bench = awake(relays=(101, 102))
    act(physical_bench, "burst", 0.9)
    physical_bench.advance(60.0)
    heat_w = physical_bench.meters.heatsink / physical_bench.time_s
    heatsink = physical_bench.connections.heatsink
    assert heatsink.temperatures_c[1] - 23.0 < heatsink.steady_rises_k(heat_w)[1]
    sink = physical_bench.connections.physics.heatsink
    capacities = (sink.junction_capacity_j_per_k, sink.capacity_j_per_k)
    stored_j = sum(c * (t - 23.0) for c, t in zip(capacities, heatsink.temperatures_c, strict=True))
    assert stored_j == pytest.approx(physical_bench.meters.heatsink, rel=0.15)
