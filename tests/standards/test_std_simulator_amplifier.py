"""The simulated output stage against textbook closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.simulator.amplifier.circuit import Circuit
from benchctl.simulator.amplifier.clipping import clipped_sine, distortion, overdrive_at
from benchctl.simulator.amplifier.converter import Converter, Source
from benchctl.simulator.amplifier.output_stage import OutputStage

# Symmetrically hard-clipped sine: overdrive x = amplitude / clipping level, power over the power at the onset of
# clipping, and THD. Closed form, worked out by 2^22-point FFT and by quadrature.
CLIPPED = [
    (1.00, 1.000000, 0.0),
    (1.05, 1.075717, 0.01818732),
    (1.10, 1.134373, 0.03794328),
    (1.50, 1.404377, 0.15348786),
    (2.00, 1.564009, 0.23293814),
    (10.0, 1.915032, 0.43039702),
    (1.029349916, 1.04750587, 0.01),
    (1.284272145, 1.28776190, 0.10),
]


@pytest.mark.parametrize(("overdrive", "power_ratio", "thd"), CLIPPED)
def test_a_clipped_sine_has_the_power_of_the_closed_form(overdrive: float, power_ratio: float, thd: float) -> None:
    """Mean square over that at the onset, P/P_onset = 2·mean(v²)/C²."""
    means = clipped_sine(overdrive, 0.0, 1.0)
    assert 2 * means.square_v2 == pytest.approx(power_ratio, abs=1e-6)


@pytest.mark.parametrize(("overdrive", "power_ratio", "thd"), CLIPPED)
def test_its_distortion_follows_from_mean_square_and_fundamental(
    overdrive: float, power_ratio: float, thd: float
) -> None:
    assert distortion(overdrive) == pytest.approx(thd, abs=1e-6)


@pytest.mark.parametrize(("overdrive", "power_ratio", "thd"), CLIPPED[1:])
def test_the_overdrive_for_a_distortion_is_found_back(overdrive: float, power_ratio: float, thd: float) -> None:
    assert overdrive_at(thd) == pytest.approx(overdrive, rel=1e-6)


# Class B on ideal rails, m = peak / rail: (m, output, supply, dissipation over P0 = V²/2R, efficiency). Boylestad and
# Nashelsky, Electronic Devices and Circuit Theory, ch. 12; the values by arithmetic from its formulas.
CLASS_B = [
    (1.0, 1.0, 1.273240, 0.273240, 0.7853982),
    (0.8, 0.64, 1.018592, 0.378592, 0.6283185),
    (2 / math.pi, 0.405285, 0.810569, 0.405285, 0.5),
    (1 / math.sqrt(8), 0.125, 0.450158, 0.325158, 0.2776802),
]


def ideal_class_b(peak_v: float, rail_v: float, load_ohm: float) -> Circuit:
    """One stage without bias, saturation or losses, on a rail that is fed without loss."""
    return Circuit(
        source=Source(14.4, 1e6, 0.0),
        converter=Converter(ratio=1.001 * rail_v / 14.4, stiffness_ohm=1e-3, efficiency=1.0, small_stages_a=0.0),
        stages=(OutputStage(peak_v, 0.0, 1 / load_ohm, 0.0),),
        reservoir_f=1.0,
        saturation_v=0.0,
        bias_a=0.0,
        bias_knee_v=1e-9,
        bleeder_ohm=1e12,
    )


@pytest.mark.parametrize(("depth", "output", "supply", "dissipation", "efficiency"), CLASS_B)
def test_an_ideal_class_b_stage_divides_its_power_as_the_textbook_says(
    depth: float, output: float, supply: float, dissipation: float, efficiency: float
) -> None:
    """Pi/4 at full swing; the worst dissipation at 2/pi of it."""
    full_w = 30.0**2 / 2 / 16.0
    flows = ideal_class_b(depth * 30.0, 30.0, 16.0).flows(30.0)
    assert flows.loads[0] / full_w == pytest.approx(output, abs=1e-6)
    assert flows.stages / full_w == pytest.approx(dissipation, abs=1e-6)
    assert (flows.loads[0] + flows.stages) / full_w == pytest.approx(supply, abs=1e-6)
    assert flows.loads[0] / (flows.loads[0] + flows.stages) == pytest.approx(efficiency, abs=1e-6)


def test_dissipation_is_worst_at_two_over_pi_of_full_swing() -> None:
    """The maximum of (4/π)m - m², same source."""
    depths = np.linspace(0.01, 1.0, 991)
    heats = [ideal_class_b(depth * 30.0, 30.0, 16.0).flows(30.0).stages for depth in depths]
    assert depths[int(np.argmax(heats))] == pytest.approx(2 / math.pi, abs=1e-3)


# Rise of a Foster chain, 50 W into 0.5, 1.2, 0.8 K/W with 1, 60, 720 s, as a ladder (Cauer form, by continued fraction,
# checked by eigenvalues). Both forms worked out by hand.
LADDER = ((0.5427500717, 1.2900791711, 0.6671707572), (1.9189765458, 46.9886739555, 1025.5754955349))
RISES = {1: 16.850244, 10: 34.761677, 60: 66.125457, 300: 98.226098, 1200: 117.444976, 3600: 124.730482}


@pytest.mark.parametrize("seconds", RISES)
def test_a_thermal_ladder_warms_as_its_foster_form_does(seconds: int) -> None:
    from benchctl.simulator.hardware.thermal import ThermalChain

    chain = ThermalChain(*LADDER, ambient_c=25.0)
    chain.advance(seconds, 50.0)
    assert chain.temperatures_c[0] - 25.0 == pytest.approx(RISES[seconds], abs=1e-5)
