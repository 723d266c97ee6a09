"""An amplifier derived from its rating plate meets the plate with a small margin."""

from __future__ import annotations

from dataclasses import replace

import pytest

from benchctl.documents.amplifier_file.simulation import AmplifierSimulation
from benchctl.simulator.model.description import Plate, RatedLoad
from benchctl.simulator.physics import derive_physics
from tests.simulator.benches import PLATE, RESISTORS, awake, describe

# A hard-clipped sine has 1 % distortion at this amplitude over the clipping level (closed form; test_std_simulator_*).
OVERDRIVE_AT_1_PERCENT = 1.02935


def steady_power_w(relays: tuple[int, ...], plate: Plate = PLATE) -> float:
    """Power of the first channel, with all channels driven continuously to 1 % distortion; the level by bisection."""
    description = describe(plate=plate, amplifier=derive_physics(plate))
    low_v, high_v = 0.3, 1.5
    power_w = 0.0
    for _ in range(10):  # to a milliwatt in a watt
        physical_bench = awake(description, relays)
        drive = physical_bench.connections.drive
        drive.output_on, drive.level_v = True, (low_v + high_v) / 2
        physical_bench.advance(2.5)
        circuit = physical_bench.circuit()
        power_w = circuit.flows(physical_bench.rail_v).loads[0]
        if circuit.stages[0].amplitude_v > OVERDRIVE_AT_1_PERCENT * circuit.limit_v(physical_bench.rail_v):
            high_v = drive.level_v
        else:
            low_v = drive.level_v
    return power_w


@pytest.mark.parametrize(("relays", "rated_w"), [((101, 102), 150.0), ((103, 104), 250.0)])
def test_each_rating_is_met_by_no_more_than_a_few_percent(relays: tuple[int, ...], rated_w: float) -> None:
    assert rated_w < steady_power_w(relays) < 1.06 * rated_w


def test_a_plate_with_one_rating_is_met_as_well() -> None:
    assert 60.0 < steady_power_w((101, 102), replace(PLATE, rated=(RatedLoad(4.0, 60.0),))) < 1.06 * 60.0


def test_the_stated_idle_current_comes_out() -> None:
    physical_bench = awake(describe(amplifier=derive_physics(PLATE)))
    assert physical_bench.supply_means(1, 0.02).current_a == pytest.approx(1.6, abs=0.08)


def test_what_is_stated_is_kept_and_the_rest_fits_to_it() -> None:
    physics = derive_physics(PLATE, AmplifierSimulation(rail_stiffness_ohm=0.5, noise_v=1e-3))
    assert (physics.rail_stiffness_ohm, physics.noise_v) == (0.5, 1e-3)
    assert physics.reservoir_f * 0.5 == pytest.approx(0.0108)


def test_a_plate_without_ratings_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one load"):
        derive_physics(replace(PLATE, rated=()))


def test_all_load_resistors_of_the_bench_are_there() -> None:
    assert len(awake().connections.loads.resistors) == len(RESISTORS)
