"""The whole bench in time: energy, order of powers, waking, protections."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.documents.amplifier_file.simulation import AmplifierSimulation, HeatsinkSimulation
from benchctl.simulator.amplifier.amplifier import State
from benchctl.simulator.hardware.physical_bench import World
from tests.simulator.benches import accounted_j, awake, describe
from tests.simulator.models import MODELS, description

LEVEL = st.floats(0.0, 1.5)
ACTION = st.one_of(
    st.tuples(st.just("level"), LEVEL),
    st.tuples(st.just("burst"), LEVEL),
    st.tuples(st.just("supply"), st.floats(8.0, 16.0)),
    st.tuples(st.just("limit"), st.floats(5.0, 100.0)),
    st.tuples(st.just("relay"), st.sampled_from([101, 102, 103, 104])),
    st.tuples(st.just("remote"), st.sampled_from([0.0, 12.0])),
)


def act(world: World, kind: str, value: float) -> None:
    """One turn of a knob."""
    plant = world.plant
    if kind == "level":
        plant.drive.stop_list()
        plant.drive.output_on, plant.drive.level_v = True, value
    elif kind == "burst":
        plant.drive.output_on, plant.drive.levels_v, plant.drive.dwells_s = True, (value, value / 10), (0.02, 0.08)
        plant.drive.start_list(world.time_s)
    elif kind == "supply":
        plant.main_output.voltage_v = value
    elif kind == "limit":
        plant.main_output.limit_a = value
    elif kind == "remote":
        plant.outputs[2].voltage_v = value
    elif int(value) in plant.closed_relays:
        plant.open_relay(int(value))
    else:
        plant.close_relay(int(value), world.time_s)


@pytest.mark.parametrize("model", MODELS)
@settings(derandomize=True, max_examples=6, deadline=None)
@given(actions=st.lists(st.tuples(ACTION, st.floats(0.001, 1.0)), min_size=1, max_size=8))
def test_every_joule_is_accounted_for_whatever_the_technician_does(
    model: str, actions: list[tuple[tuple[str, float], float]]
) -> None:
    """Supplied = lead + heatsink + loads + what the reservoir holds, within 0.1 % after any drive of any model."""
    world = awake(description(model), relays=(101, 102))
    for (kind, value), seconds in actions:
        act(world, kind, value)
        world.advance(world.time_s + seconds)
    assert accounted_j(world) == pytest.approx(world.meters.supplied, rel=1e-3)


def test_how_often_one_asks_does_not_change_what_happens() -> None:
    often, seldom = awake(relays=(101, 102)), awake(relays=(101, 102))
    for world in (often, seldom):
        act(world, "burst", 0.9)
    for query in range(1, 400):
        often.advance(2.0 + query * 0.0137)
    end_s = often.time_s
    seldom.advance(end_s)
    assert often.rail_v == pytest.approx(seldom.rail_v, abs=2e-3)
    assert often.meters.loads == pytest.approx(seldom.meters.loads, rel=1e-4)


def power_by_cycle(world: World, cycles: int) -> list[float]:
    """Power of channel A in each cycle of a fresh burst, from the clipped amplitude at the end of the cycle."""
    drive = world.plant.drive
    drive.output_on, drive.levels_v, drive.dwells_s = True, (1.0, 0.1), (cycles * 1e-3, 0.5 - cycles * 1e-3)
    drive.start_list(world.time_s)
    start_s = world.time_s
    powers = []
    for cycle in range(cycles):
        world.advance(start_s + (cycle + 0.99) * 1e-3)
        powers.append(world.circuit().flows(world.rail_v).loads[0])
    return powers


def test_the_first_cycle_delivers_most_and_each_next_one_less_down_to_the_continuous_power() -> None:
    powers = power_by_cycle(awake(relays=(101, 102)), 20)
    assert powers == sorted(powers, reverse=True)
    world = awake(relays=(101, 102))
    act(world, "level", 1.0)
    world.advance(3.0)
    assert powers[0] > 1.1 * powers[-1]
    assert powers[-1] > world.circuit().flows(world.rail_v).loads[0]


def test_asleep_it_takes_milliamperes_and_gives_nothing() -> None:
    world = World(describe())
    main = world.plant.main_output
    main.on, main.voltage_v, main.limit_a = True, 14.4, 90.0
    act(world, "level", 1.0)
    world.plant.close_relay(101, world.time_s)
    world.advance(5.0)
    assert world.supply_means(1, 0.02).current_a == pytest.approx(0.004)
    assert world.meters.loads == 0.0


def test_it_wakes_with_the_remote_lead_and_plays_after_its_delay() -> None:
    """1.5 s after half of its remote voltage is there, which a supply of 100 V/s gives after 60 ms."""
    world = World(describe())
    main, remote = world.plant.outputs[1], world.plant.outputs[2]
    main.on, main.voltage_v, main.limit_a = True, 14.4, 90.0
    world.advance(1.0)
    remote.on, remote.voltage_v, remote.limit_a = True, 12.0, 0.5
    world.advance(2.55)
    assert world.plant.amplifier.state is State.WAKING
    world.advance(2.57)
    assert world.plant.amplifier.state is State.PLAYING


def test_an_inrush_past_the_supply_limit_is_ridden_through() -> None:
    """The converter's soft start keeps the first charge of the reservoir inside what a supply of 20 A can bear."""
    world = World(describe())
    main, remote = world.plant.outputs[1], world.plant.outputs[2]
    main.on, main.voltage_v, main.limit_a = True, 14.4, 20.0
    remote.on, remote.voltage_v, remote.limit_a = True, 12.0, 0.5
    world.advance(2.0)
    assert world.plant.amplifier.state is State.PLAYING


def small_heatsink() -> World:
    """Warms up in a minute."""
    heatsink = HeatsinkSimulation(
        junction_k_per_w=0.2, junction_capacity_j_per_k=5.0, ambient_k_per_w=1.0, capacity_j_per_k=60.0
    )
    return awake(describe(AmplifierSimulation(heatsink=heatsink)), (101, 102))


def test_heat_silences_it_and_cooling_brings_it_back_at_the_lower_temperature() -> None:
    world = small_heatsink()
    act(world, "level", 0.5)
    hottest = 0.0
    while world.plant.amplifier.state is not State.HOT:
        world.advance(world.time_s + 0.2)
        hottest = max(hottest, world.plant.heatsink_c)
        assert world.time_s < 600
    assert hottest == pytest.approx(95.0, abs=1.0)
    while world.plant.amplifier.state is State.HOT:
        assert world.circuit().flows(world.rail_v).loads == (0.0, 0.0)
        world.advance(world.time_s + 0.2)
        assert world.time_s < 1200
    assert world.plant.heatsink_c == pytest.approx(75.0, abs=1.0)


def test_a_supply_that_folds_back_starves_the_amplifier() -> None:
    world = awake(relays=(103, 104))
    world.plant.main_output.limit_a = 10.0
    act(world, "level", 1.0)
    seen = set()
    for tick in range(100):
        world.advance(2.0 + tick * 0.01)
        seen.add(world.plant.amplifier.state)
    assert State.STARVED in seen
    assert not world.plant.amplifier.playing


def test_over_current_protection_of_the_supply_cuts_it_off() -> None:
    world = awake(relays=(103, 104))
    world.plant.main_output.overcurrent_a = 40.0
    act(world, "level", 1.0)
    world.advance(2.2)
    assert world.plant.main_output.overcurrent_tripped
    assert world.supply_means(1, 0.02) == (0.0, 0.0)


def test_an_hour_of_bursts_warms_the_heatsink_towards_its_steady_rise() -> None:
    """Bursts of 20 in 500 ms give the same mean heat as their energy meter says."""
    world = awake(relays=(101, 102))
    act(world, "burst", 0.9)
    world.advance(60.0)
    heat_w = world.meters.heatsink / world.time_s
    heatsink = world.plant.heatsink
    assert heatsink.temperatures_c[1] - 23.0 < heatsink.steady_rises_k(heat_w)[1]
    sink = world.plant.physics.heatsink
    capacities = (sink.junction_capacity_j_per_k, sink.capacity_j_per_k)
    stored_j = sum(c * (t - 23.0) for c, t in zip(capacities, heatsink.temperatures_c, strict=True))
    assert stored_j == pytest.approx(world.meters.heatsink, rel=0.15)
