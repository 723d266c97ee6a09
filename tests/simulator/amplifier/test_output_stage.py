"""Output stages: the power they take from the rails and where it goes."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.documents.amplifier_file.simulation import AmplifierSimulation
from benchctl.simulator.amplifier.output_stage import Losses, OutputStage, SwitchingStage
from benchctl.simulator.amplifier.outputs import output_of
from benchctl.simulator.amplifier.transfer import Transfer
from benchctl.simulator.generator_signal import Tone
from benchctl.simulator.model.description import Plate, RatedLoad
from benchctl.simulator.physics import derive_physics

NO_EDGES = Losses(0.05, 2 / 40**2)
EDGES = Losses(0.05, 2 / 40**2, carrier_hz=100e3, commutation_s=200e-9)
"""Two edges in 10 us, each of 0.2 us: more than any sound stage loses, so that it counts."""


def switching(amplitude_v: float, *, halves: int = 1, knee: float = 0.0, losses: Losses = NO_EDGES) -> SwitchingStage:
    """Into 4 ohm a half, 50 milliohm of conduction, 2 W of switching at 40 V."""
    return SwitchingStage(amplitude_v, 0.0, 0.25, 0.01, losses, halves=halves, transfer=Transfer(knee=knee))


AMPLITUDES = st.floats(0.0, 60.0)
TRANSFERS = st.builds(
    Transfer,
    dead_zone_v=st.sampled_from([0.0, 0.3]),
    knee=st.sampled_from([0.0, 0.1, 0.3]),
    missing=st.sampled_from([None, "upper"]),
)


@settings(derandomize=True, max_examples=200, deadline=None)
@given(
    amplitude=AMPLITUDES,
    transfer=TRANSFERS,
    rail=st.floats(0.1, 50.0),
    halves=st.sampled_from([1, 2]),
    losses=st.sampled_from([None, Losses(0.06, 0.002), EDGES]),
)
def test_what_a_stage_takes_is_what_it_gives_and_loses(
    amplitude: float, transfer: Transfer, rail: float, halves: int, losses: Losses | None
) -> None:
    """Rail voltage times rail current = devices + output resistance + load; and no item is negative."""
    stage: OutputStage = OutputStage(amplitude, 0.1, 0.25, 0.02, transfer=transfer, halves=halves)
    if losses is not None:
        stage = SwitchingStage(amplitude, 0.1, 0.25, 0.02, losses, transfer=transfer, halves=halves)
    headroom_v = max(rail - 1.5, 0.0)
    taken_a, _ = stage.takes(rail, headroom_v)
    flows = stage.flows(rail, headroom_v)
    assert rail * taken_a == pytest.approx(sum(flows), rel=1e-9, abs=1e-9)
    assert min(flows) >= 0


@pytest.mark.parametrize("rail_v", [30.0, 41.5])
@pytest.mark.parametrize(
    "stage",
    [
        OutputStage(40.0, 0.0, 0.25, 0.01),
        switching(40.0),
        switching(40.0, halves=2, knee=0.1),
        switching(40.0, halves=2, knee=0.1, losses=EDGES),
    ],
)
def test_the_slope_is_the_derivative_of_the_current(stage: OutputStage, rail_v: float) -> None:
    """Where it clips and where it does not; headroom follows the rail one to one."""
    above, below = stage.takes(rail_v + 1e-2, rail_v + 1e-2)[0], stage.takes(rail_v - 1e-2, rail_v - 1e-2)[0]
    assert stage.takes(rail_v, rail_v)[1] == pytest.approx((above - below) / 2e-2, rel=1e-2, abs=1e-4)


@pytest.mark.parametrize("rails_v", [[41.0], [41.0, 36.0]])
@pytest.mark.parametrize(
    "stage",
    [
        switching(60.0, losses=EDGES),
        switching(60.0, halves=2, losses=EDGES),
        switching(60.0, losses=replace(EDGES, pumps=True)),
    ],
)
def test_a_class_d_stage_loses_and_gives_at_each_instant_what_it_takes(
    stage: SwitchingStage, rails_v: list[float]
) -> None:
    """With both rails as one and apart, clipped and not."""
    turns = np.linspace(0.0, 1.0, 37)
    rows_v = np.array(rails_v)[:, None] * np.ones_like(turns)
    now = stage.at_instants(stage.asked_v(turns), rows_v, 1.5)
    assert (rows_v * now.taken_a).sum(axis=0) == pytest.approx(np.sum(stage.instant_flows(now, rows_v), axis=0))


@pytest.mark.parametrize("rails_v", [[41.0], [41.0, 36.0]])
@pytest.mark.parametrize("pumps", [False, True])
def test_the_slope_at_an_instant_is_the_derivative_of_the_current_of_a_rail(pumps: bool, rails_v: list[float]) -> None:
    """Of rails that are taken as one when both move together, of rails that are loaded in turn when this one does."""
    stage, turns = switching(60.0, losses=replace(EDGES, pumps=pumps)), np.linspace(0.02, 0.98, 36)
    rows_v, asked_v = np.array(rails_v)[:, None] * np.ones_like(turns), stage.asked_v(turns)
    slope_s = stage.at_instants(asked_v, rows_v, 1.5).slope_s
    for rail in range(len(rails_v)):
        step_v = np.zeros_like(rows_v)
        step_v[rail if pumps else slice(None)] = 1e-4
        above, below = (stage.at_instants(asked_v, rows_v + sign * step_v, 1.5).taken_a for sign in (1.0, -1.0))
        assert slope_s[rail] == pytest.approx((above - below)[rail] / 2e-4, rel=1e-5, abs=1e-6)


@pytest.mark.parametrize("outputs", ["grounded", "floating"])
def test_the_edges_of_the_carrier_lose_what_the_overlap_formula_says(outputs: str) -> None:
    """Of a full sine: the voltage of both rails, 2/pi of its peak current, the time and the carrier, in each half (from
    memory: Erickson and Maksimovic, Fundamentals of Power Electronics, for a clamped inductive load)."""
    plate = Plate(("A",), (RatedLoad(4.0, 150.0),), 10.0, switching=True, floating=outputs == "floating")
    lost_w, lost_by_instants_w, turns = [], [], np.arange(1000) / 1000
    for time_s in (0.0, 20e-9):
        physics = derive_physics(plate, AmplifierSimulation(rail_v=40.0, carrier_hz=250e3, commutation_s=time_s))
        stage = output_of(physics, plate, "A").stage(Tone(3.0, 1e3, 0.0), 1 / 4.0)
        lost_w.append(stage.flows(40.0, 38.0).stage_w)
        rails_v = np.full((1, len(turns)), 40.0)
        now = stage.at_instants(stage.asked_v(turns), rails_v, 2.0)
        lost_by_instants_w.append(float(np.mean(stage.instant_flows(now, rails_v)[0])))
    peak_a = 30.0 / (4.0 + physics.output_resistance_ohm)
    of_a_half_w = 2 * 40.0 * (2 / math.pi * peak_a) * 20e-9 * 250e3
    halves = 2 if plate.floating else 1
    assert lost_w[1] - lost_w[0] == pytest.approx(halves * of_a_half_w, rel=1e-3)
    assert lost_by_instants_w[1] - lost_by_instants_w[0] == pytest.approx(halves * of_a_half_w, rel=1e-3)


def test_two_bridged_channels_lose_at_the_edges_what_both_lose_apart() -> None:
    """The bridge gives twice the voltage into twice the load, so the same current flows in each half."""
    given = AmplifierSimulation(gain=10.0, rail_v=40.0, output_resistance_ohm=0.02, carrier_hz=250e3)
    given = given.model_copy(update={"commutation_s": 20e-9})
    pair = given.bridged(("A", "B"), "AB", 2)
    lost_w = {}
    for channels, simulation, load_ohm in ((("A", "B"), given, 4.0), (("AB",), pair, 8.0)):
        plate = Plate(channels, (RatedLoad(load_ohm, 150.0),), 10.0, switching=True, floating=len(channels) == 1)
        each_w = []
        for time_s in (0.0, 20e-9):
            own = simulation if time_s else simulation.model_copy(update={"commutation_s": 0.0})
            physics = derive_physics(plate, own)
            stages = [output_of(physics, plate, each).stage(Tone(3.0, 1e3, 0.0), 1 / load_ohm) for each in channels]
            each_w.append(sum(stage.flows(40.0, 38.0).stage_w for stage in stages))
        lost_w[channels] = each_w[1] - each_w[0]
    assert lost_w["AB",] == pytest.approx(lost_w["A", "B"])


@pytest.mark.parametrize("kind", ["linear", "switching"])
def test_a_bridge_is_two_halves_with_half_the_load_each(kind: str) -> None:
    """Two stages of 20 V into 2 ohm give what a bridge of 40 V into 4 ohm gives."""
    make = {"linear": lambda halves: OutputStage(20.0, 0.0, 0.5, 0.01, halves=halves)}
    make["switching"] = lambda halves: SwitchingStage(20.0, 0.0, 0.5, 0.01, Losses(0.04, 1e-3), halves=halves)
    half, bridge = make[kind](1), make[kind](2)
    assert bridge.takes(40.0, 38.0)[0] == pytest.approx(2 * half.takes(40.0, 38.0)[0])
    assert bridge.flows(40.0, 38.0) == pytest.approx([2 * flow for flow in half.flows(40.0, 38.0)])
    assert bridge.flows(40.0, 38.0).load_w == pytest.approx(40.0**2 / 2 / 4.0, rel=0.02)


@pytest.mark.parametrize("load_w", [1.0, 10.0, 100.0])
def test_a_class_d_stage_has_the_efficiency_curve_of_its_two_losses(load_w: float) -> None:
    """P / (P·(1 + r/R) + switching): steep at first, then flat under a ceiling that the load sets (arithmetic)."""
    amplitude_v = math.sqrt(2 * load_w * 4.0) * (1 + 0.01 / 4.0)
    flows = switching(amplitude_v).flows(40.0, 40.0)
    assert flows.load_w == pytest.approx(load_w, rel=1e-9)
    assert flows.load_w / sum(flows) == pytest.approx(load_w / (load_w * (1 + 0.06 / 4.0) + 2.0), rel=1e-6)


def test_a_class_d_stage_runs_cooler_than_a_linear_one_wherever_it_is_not_idle() -> None:
    for amplitude in (10.0, 20.0, 30.0):
        cool, warm = switching(amplitude).flows(40.0, 40.0), OutputStage(amplitude, 0.0, 0.25, 0.01).flows(40.0, 40.0)
        assert cool.stage_w < 0.2 * warm.stage_w


@pytest.mark.parametrize("halves", [1, 2])
def test_a_linear_stage_is_hottest_at_two_over_pi_of_full_swing_bridged_or_not(halves: int) -> None:
    """The maximum of (4/pi)m - m²; Boylestad and Nashelsky, Electronic Devices and Circuit Theory, ch. 12."""
    depths = np.linspace(0.01, 1.0, 991)
    heats = [OutputStage(d * 40.0, 0.0, 0.25, 0.0, halves=halves).flows(40.0, 40.0).stage_w for d in depths]
    assert depths[int(np.argmax(heats))] == pytest.approx(2 / math.pi, abs=1e-3)


def test_a_muted_stage_takes_nothing() -> None:
    stage = SwitchingStage(20.0, 1.0, 0.25, 0.01, Losses(0.05, 0.01), live=False)
    assert stage.takes(40.0, 38.0) == (0.0, 0.0)
    assert stage.flows(40.0, 38.0) == (0.0, 0.0, 0.0)


def test_peak_current_and_dc_are_what_the_protections_look_at() -> None:
    stage = OutputStage(50.0, 0.0, 0.25, 0.0, transfer=Transfer(missing="lower"))
    assert stage.peak_a(40.0) == pytest.approx(10.0)
    assert stage.dc_v(60.0) == pytest.approx(50.0 / math.pi, rel=1e-4)
