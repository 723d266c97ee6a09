"""What output stages of class D take from the rails by the model of the fit."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from benchctl.fit.model.physics import Kind, Physics
from benchctl.fit.model.stages import taken, taken_in_a_cycle

KIND = Kind(switching=True, halves=2)
RAIL_V, LOAD_OHM, EDGES = 40.0, 4.0, 0.01


def physics(peak_v: float, edges: float) -> Physics:
    """One bridge without any other loss, so that it clips at twice its rail."""
    nothing = np.zeros(1)
    return Physics(
        **dict.fromkeys(("path_ohm", "steady_a", "bias_a", "saturation_v", "conduction_ohm", "switching_s"), nothing),
        **dict.fromkeys(("phase", "dc_v", "output_ohm"), nothing),
        **dict.fromkeys(("supply_v", "ratio", "efficiency", "stiffness_ohm", "reservoir_f"), np.ones(1)),
        held_v=np.full(1, RAIL_V),
        bleed_ohm=np.full(1, 1e12),
        knee=np.full(1, 1e-6),
        edges=np.full(1, edges),
        load_ohm=np.full((1, 1), LOAD_OHM),
        peak_v=np.full((1, 1), peak_v),
        angular_hz=np.full(1, 2.0 * math.pi * 1e3),
    )


def rails() -> NDArray[np.float64]:
    return np.full((1, 1), RAIL_V)


def test_the_third_harmonic_of_a_generator_flattens_a_sine_or_makes_it_pointed() -> None:
    """sin x + h sin 3x is 1 - h at its top, and half the root of three at a third of a half wave, whatever h is."""
    for third in (-2e-4, 2e-4):
        of = replace(physics(60.0, 0.0), third=np.full(1, third))
        top, shoulder = (of.asked_v(np.full(1, part * 1e-3))[0, 0] for part in (1.0 / 4.0, 1.0 / 6.0))
        assert top == pytest.approx(60.0 * (1.0 - third), rel=1e-12)
        assert shoulder == pytest.approx(60.0 * math.sqrt(0.75), rel=1e-12)


def test_edges_take_their_part_of_the_mean_size_of_the_output_current() -> None:
    """Of a sine below clipping that mean is 2/pi of the peak, 60 V over 4 ohm."""
    with_edges, without = (taken_in_a_cycle(physics(60.0, each), KIND, rails()).load_a[0, 0] for each in (EDGES, 0.0))
    assert with_edges - without == pytest.approx(EDGES * 2.0 / math.pi * 60.0 / LOAD_OHM, rel=1e-6)


@pytest.mark.parametrize("peak_v", [60.0, 120.0])
def test_the_mean_over_a_cycle_is_that_of_its_instants(peak_v: float) -> None:
    """Below clipping, and at one and a half times the clip level; the slope with the rail too."""
    of, kind = physics(peak_v, EDGES), KIND
    asked_v = peak_v * np.sin(2.0 * math.pi * (np.arange(20_000) + 0.5) / 20_000)
    instants = taken(of, kind, asked_v[None], np.full((1, len(asked_v)), RAIL_V))
    cycle = taken_in_a_cycle(of, kind, rails())
    assert instants.load_a.mean() == pytest.approx(float(cycle.load_a[0, 0]), rel=1e-4)
    assert instants.slope_s.mean() == pytest.approx(float(cycle.slope_s[0, 0]), rel=1e-3)
