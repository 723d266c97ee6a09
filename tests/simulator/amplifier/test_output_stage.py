"""Output stages: the power they take from the rails and where it goes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.simulator.amplifier.output_stage import Losses, OutputStage, SwitchingStage
from benchctl.simulator.amplifier.transfer import Transfer


def switching(amplitude_v: float, *, halves: int = 1, knee: float = 0.0) -> SwitchingStage:
    """Into 4 ohm a half, 50 milliohm of conduction, 2 W of switching at 40 V."""
    return SwitchingStage(
        amplitude_v, 0.0, 0.25, 0.01, Losses(0.05, 2 / 40**2), halves=halves, transfer=Transfer(knee=knee)
    )


AMPLITUDES = st.floats(0.0, 60.0)
TRANSFERS = st.builds(
    Transfer,
    dead_zone_v=st.sampled_from([0.0, 0.3]),
    knee=st.sampled_from([0.0, 0.1, 0.3]),
    missing=st.sampled_from([None, "upper"]),
)


@settings(derandomize=True, max_examples=200, deadline=None)
@given(
    amplitude=AMPLITUDES, transfer=TRANSFERS, rail=st.floats(0.1, 50.0), halves=st.sampled_from([1, 2]), d=st.booleans()
)
def test_what_a_stage_takes_is_what_it_gives_and_loses(
    amplitude: float, transfer: Transfer, rail: float, halves: int, d: bool
) -> None:
    """Rail voltage times rail current = devices + output resistance + load; and no item is negative."""
    stage: OutputStage = OutputStage(amplitude, 0.1, 0.25, 0.02, transfer=transfer, halves=halves)
    if d:
        stage = SwitchingStage(amplitude, 0.1, 0.25, 0.02, Losses(0.06, 0.002), transfer=transfer, halves=halves)
    headroom_v = max(rail - 1.5, 0.0)
    taken_a, _ = stage.takes(rail, headroom_v)
    flows = stage.flows(rail, headroom_v)
    assert rail * taken_a == pytest.approx(sum(flows), rel=1e-9, abs=1e-9)
    assert min(flows) >= 0


@pytest.mark.parametrize("rail_v", [30.0, 41.5])
@pytest.mark.parametrize(
    "stage", [OutputStage(40.0, 0.0, 0.25, 0.01), switching(40.0), switching(40.0, halves=2, knee=0.1)]
)
def test_the_slope_is_the_derivative_of_the_current(stage: OutputStage, rail_v: float) -> None:
    """Where it clips and where it does not; headroom follows the rail one to one."""
    above, below = stage.takes(rail_v + 1e-2, rail_v + 1e-2)[0], stage.takes(rail_v - 1e-2, rail_v - 1e-2)[0]
    assert stage.takes(rail_v, rail_v)[1] == pytest.approx((above - below) / 2e-2, rel=1e-2, abs=1e-4)


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
