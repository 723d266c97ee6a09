"""Power, supply draw and efficiency against closed forms of the ideal class B stage and figures of the trade."""

from __future__ import annotations

import math

import numpy as np
import pytest
from uncertainties import UFloat

from benchctl.measure.analyses.by_step import burst, continuous
from benchctl.measure.analyses.context import BurstContext, ContinuousContext
from benchctl.measure.budget.power import load_power
from benchctl.measure.signal.record import Capture, Trace
from benchctl.measure.uncertainty import LoadResistance, exactly

RAIL_V = 40.0
LOAD_OHM = 4.0
RATE = 200e3


def trace(values: np.ndarray, unit: str) -> Trace:
    scale = 1.25 * float(np.abs(values).max()) / 32767
    return Trace(np.round(values / scale).astype(np.int16), scale, 0.0, unit, -32768, 32767)


def class_b(volts: np.ndarray, start_s: float = 0.0) -> Capture:
    """An ideal class B stage: each half of the current comes from its own rail, so the supply gives |i| at one rail."""
    traces = {
        "output A": trace(volts, "V"),
        "supply current": trace(np.abs(volts) / LOAD_OHM, "A"),
        "supply voltage": trace(np.full(volts.size, RAIL_V), "V"),
    }
    return Capture("ideal.npz", start_s, 1 / RATE, traces, 0.0)


def figures_of(depth: float) -> dict[str, float]:
    """A steady tone at `depth` times the rail."""
    volts = depth * RAIL_V * np.sin(2 * np.pi * 1000.0 * (np.arange(20_000) + 0.5) / RATE)
    context = ContinuousContext(frequency_hz=1000.0, loads={"A": LoadResistance(LOAD_OHM, LOAD_OHM)})
    figures = continuous({"continuous": class_b(volts)}, {}, context)
    return {figure.name: figure.value for figure in figures if figure.channel in ("", "total")}


# Boylestad and Nashelsky, Electronic Devices and Circuit Theory, ch. 12: at m = Vp / Vrail and P0 = Vrail^2 / 2R,
# Pout = m^2 P0, Pin = (4 / pi) m P0, efficiency (pi / 4) m, mean current 2 Vp / (pi R).
@pytest.mark.parametrize(("depth", "efficiency"), [
    (1.0, 0.7853982), (0.8, 0.6283185), (1 / math.sqrt(2), 0.5553604), (2 / math.pi, 0.5),
    (0.5, 0.3926991), (0.1, 0.0785398),
])  # fmt: skip
def test_the_efficiency_of_ideal_class_b(depth: float, efficiency: float) -> None:
    figures = figures_of(depth)
    assert figures["efficiency"] == pytest.approx(efficiency, rel=1e-4)
    assert figures["continuous_power"] == pytest.approx(depth**2 * RAIL_V**2 / (2 * LOAD_OHM), rel=1e-4)
    assert figures["supply_current"] == pytest.approx(2 * depth * RAIL_V / (math.pi * LOAD_OHM), rel=1e-4)


def test_ideal_class_b_is_hottest_at_two_over_pi_of_full_swing() -> None:
    # The same source: the largest loss is 2 V^2 / (pi^2 R), 0.405285 P0, at m = 2 / pi.
    def loss(depth: float) -> float:
        figures = figures_of(depth)
        return figures["supply_current"] * RAIL_V - figures["continuous_power"]

    assert loss(2 / math.pi) == pytest.approx(0.405285 * RAIL_V**2 / (2 * LOAD_OHM), rel=1e-4)
    assert loss(2 / math.pi) > max(loss(2 / math.pi - 0.05), loss(2 / math.pi + 0.05))


def test_example_12_8_of_the_same_book() -> None:
    # 30 V rails into 16 ohm at full swing: 28.125 W out, 78.54 % efficient.
    assert load_power(exactly(30.0 / math.sqrt(2)), exactly(16.0)).nominal_value == pytest.approx(28.125)


def test_the_pattern_of_20_cycles_in_500_ms_draws_what_its_closed_form_says() -> None:
    # Duty D = 0.04 with a rest 20 dB lower: mean power [D + 0.01 (1 - D)] P, mean current [D + 0.1 (1 - D)] I, and so
    # an efficiency of 0.0496 / 0.136 times that of the steady tone (worked out by hand; the pattern is CEA-490-A's).
    time_s = np.arange(100_000) / RATE
    level = np.where(time_s < 0.02, 1.0, 0.1)
    volts = level * RAIL_V * np.sin(2 * np.pi * 1000.0 * (time_s + 0.5 / RATE))
    context = BurstContext(
        frequency_hz=1000.0,
        cycles=20,
        every_s=0.5,
        low_level_ratio=0.1,
        loads={"A": LoadResistance(LOAD_OHM, LOAD_OHM)},
    )
    figures = {
        figure.name: figure.value for figure in burst({"full": class_b(volts)}, {}, context) if not figure.channel
    }
    assert figures["supply_current"] == pytest.approx(0.136 * 2 * RAIL_V / (math.pi * LOAD_OHM), rel=1e-3)
    assert figures["efficiency"] == pytest.approx(math.pi / 4 * 0.0496 / 0.136, rel=1e-3)


@pytest.mark.parametrize(("peak_v", "watts"), [(82.8, 219.8), (85.2, 232.7), (88.8, 252.8)])
def test_a_bridged_pair_into_a_nominal_8_ohm_bank_that_measures_7_8(peak_v: float, watts: float) -> None:
    # Common practice: half of the total is each half's share; the printed figures are rounded to a tenth of a watt.
    rms: UFloat = exactly(peak_v / math.sqrt(2))
    total = load_power(rms, exactly(7.8))
    assert total.nominal_value / 2 == pytest.approx(watts, abs=0.11)
    # The same by another road: each half drives half the load with half the voltage.
    assert load_power(rms / 2, exactly(7.8 / 2)).nominal_value == pytest.approx(total.nominal_value / 2)
