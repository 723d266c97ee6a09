"""The rail between events."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from benchctl.simulator.amplifier.circuit import Circuit
from benchctl.simulator.amplifier.converter import Converter, Source
from benchctl.simulator.amplifier.output_stage import OutputStage
from benchctl.simulator.amplifier.rails.means import RailStep, step_rail

LOADED = Circuit(
    source=Source(14.4, 1000.0, 0.0),
    converter=Converter(ratio=40 / 14.4, stiffness_ohm=0.36, efficiency=0.9, small_stages_a=0.3),
    stages=(OutputStage(20.0, 0.0, 0.25, 0.0), OutputStage(20.0, 0.01, 0.25, 0.0)),
    reservoir_f=0.03,
    saturation_v=1.5,
    bias_a=0.2,
    bias_knee_v=10.0,
    bleeder_ohm=1e9,
)


def run(circuit: Circuit, rail_v: float, seconds: float) -> list[RailStep]:
    """All steps over `seconds`."""
    steps: list[RailStep] = []
    time_s = 0.0
    while time_s < seconds:
        step = step_rail(circuit, rail_v, time_s, seconds)
        steps.append(step)
        time_s, rail_v = step.end_s, step.end_v
    return steps


def test_the_droop_is_exponential_with_stiffness_times_reservoir() -> None:
    """tau = R·C; after one tau 1/e of the way is left. Nothing clips, so one step must do."""
    tau_s = 0.36 * 0.03
    steady_v = run(LOADED, 40.0, 1.0)[-1].end_v
    (step,) = run(LOADED, 39.9, tau_s)
    assert (step.end_v - steady_v) / (39.9 - steady_v) == pytest.approx(1 / math.e, rel=1e-6)


def test_the_rail_settles_where_ohms_law_says() -> None:
    """E - R·(mean current of both channels and bias), a full-wave mean being 2/π of the peak."""
    mean_a = 2 * (2 / math.pi) * 20.0 / 4.0 + 2 * 0.2
    assert run(LOADED, 40.0, 1.0)[-1].end_v == pytest.approx(40.0 - 0.36 * mean_a, abs=1e-4)


def test_a_clipping_rail_agrees_with_a_small_step_integration() -> None:
    """Compared with 100 ms of explicit Euler at 1 microsecond."""
    stages = (OutputStage(42.0, 0.0, 0.25, 0.0), OutputStage(39.0, 0.2, 0.5, 0.02))
    clipping = replace(LOADED, stages=stages)
    rail_v = 40.0
    for _ in range(100_000):
        rail_v += 1e-6 * clipping.at(rail_v).slope_v_per_s
    assert run(clipping, 40.0, 0.1)[-1].end_v == pytest.approx(rail_v, abs=2e-3)


@pytest.mark.parametrize("start_v", [0.0, 5.0, 20.0, 45.0])
@pytest.mark.parametrize("limit_a", [20.0, 1000.0])
def test_energy_balances_through_charging_current_limit_and_a_blocking_diode(start_v: float, limit_a: float) -> None:
    """Supplied = lead + heat + load + what the reservoir gained, to a ten-thousandth."""
    circuit = replace(LOADED, source=Source(14.4, limit_a, 0.004))
    supplied = used = 0.0
    steps = run(circuit, start_v, 0.3)
    for step in steps:
        flows = step.mean_flows()
        seconds = step.end_s - step.start_s
        supplied += flows.supply * seconds
        used += (flows.lead + flows.heatsink + sum(flows.loads)) * seconds
    stored = 0.5 * 0.03 * (steps[-1].end_v ** 2 - start_v**2)
    assert used + stored == pytest.approx(supplied, rel=1e-4)


def test_a_step_at_rest_may_be_as_long_as_one_likes() -> None:
    steady_v = run(LOADED, 40.0, 1.0)[-1].end_v
    assert len(run(LOADED, steady_v, 3600.0)) == 1


def test_a_part_of_a_step_lies_on_the_same_curve() -> None:
    (step,) = run(LOADED, 39.9, 0.02)
    times = np.linspace(0.005, 0.015, 5)
    assert step.part(0.005, 0.015).rails_v(times) == pytest.approx(step.rails_v(times), abs=1e-12)
    middle = step.part(0.005, 0.015)
    sampled = step.rails_v(np.linspace(0.005, 0.015, 10_001))
    assert middle.start_v + middle.moments()[0] == pytest.approx(sampled.mean(), rel=1e-6)
