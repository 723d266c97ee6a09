"""Output impedance over frequency: a resistance with an inductance, from the complex voltages of Ohm's law."""

from __future__ import annotations

import math

import numpy as np
import pytest
from uncertainties import ufloat

from benchctl.measure.analyses.damping_figures import HEAVY, LIGHT, LIGHT_AGAIN
from benchctl.measure.analyses.damping_sweep_figures import (
    DampingSweepContext,
    complex_impedance,
    damping_sweep,
    role_of,
)
from benchctl.measure.budget.figure import Figure
from benchctl.measure.signal.record import Capture
from benchctl.measure.uncertainty import LoadResistance, exactly
from tests.measure.conftest import digitise

EIGHT_OHM, FOUR_OHM = (LoadResistance(ohm, ohm, relative_uncertainty=1e-6) for ohm in (8.0, 4.0))
SOURCE_V, SERIES_OHM, SERIES_H = 10.0, 0.03, 2e-6
TONES_HZ = {"1000 Hz": 1000.0, "20000 Hz": 20_000.0}


def record(name: str, tone_hz: float, load_ohm: float) -> Capture:
    """The voltage at the load of a source with a resistance and an inductance in series."""
    divided = load_ohm / (load_ohm + SERIES_OHM + 2j * math.pi * tone_hz * SERIES_H)
    time_s = np.arange(20_000) * 5e-8
    volts = math.sqrt(2.0) * SOURCE_V * np.imag(divided * np.exp(2j * np.pi * tone_hz * time_s))
    noise = np.random.default_rng(round(tone_hz) + len(name)).normal(0.0, 5e-3, time_s.size)
    return Capture(name, 0.0, 5e-8, {"output A": digitise(volts + noise, 36.0)}, 0.0)


def figures_of(light_ohm: float | None = 8.0) -> list[Figure]:
    captures = {
        role_of(load, tone): record(f"{load} {tone}", tone_hz, ohm)
        for tone, tone_hz in TONES_HZ.items()
        for load, ohm in ((LIGHT, light_ohm or 1e12), (HEAVY, 4.0), (LIGHT_AGAIN, light_ohm or 1e12))
    }
    light = {} if light_ohm is None else {"A": EIGHT_OHM}
    return damping_sweep(captures, {}, DampingSweepContext(tones_hz=TONES_HZ, light=light, heavy={"A": FOUR_OHM}))


@pytest.mark.parametrize("light_ohm", [8.0, None])
def test_the_size_of_the_impedance_has_the_inductance_in_it(light_ohm: float | None) -> None:
    """|0.03 + 2 pi 20e3 2e-6 j| = |0.03 + 0.2513j| = 0.2531 ohm; sizes of the voltages alone would show 0.038."""
    found = {f.frequency_hz: f for f in figures_of(light_ohm) if f.name == "output_impedance"}
    high = found[20e3]
    assert abs(high.value - 0.2531) < (high.expanded_uncertainty or 0.0)
    assert (high.expanded_uncertainty or 1.0) < 0.05


def test_the_damping_factor_is_the_load_over_that_size() -> None:
    found = {(f.frequency_hz, f.load_ohm): f for f in figures_of() if f.name == "damping_factor"}
    assert found[20e3, 4.0].value == pytest.approx(4.0 / 0.2531, rel=0.1)
    assert found[20e3, 8.0].value == pytest.approx(8.0 / 0.2531, rel=0.1)


def test_real_voltages_give_what_the_worked_example_gives() -> None:
    """10.000 V into 8 ohm and 9.960 V into 4 ohm are 0.0322580645 ohm (Ohm's law, back-substituted)."""
    found = complex_impedance(exactly(10.0 / 9.96), exactly(0.0), exactly(1.0 / 8.0), exactly(1.0 / 4.0))
    assert found.real.nominal_value == pytest.approx(0.0322580645, abs=1e-10)
    assert found.imaginary.nominal_value == pytest.approx(0.0, abs=1e-12)


def test_an_unknown_phase_widens_the_size_though_it_does_so_in_squares() -> None:
    """A phase of 0 +- 0.01 rad at 4 ohm may hide 0.08 ohm of reactance (k = 2, no load beside): 0.03 to 0.085 ohm."""
    found = complex_impedance(exactly(1.0 + 0.03 / 4.0), ufloat(0.0, 0.01), exactly(0.0), exactly(0.25))
    assert found.size_ohm == pytest.approx(0.03)
    assert found.expanded_ohm == pytest.approx((math.hypot(0.03, 0.0806) - 0.03) / 2.0, rel=0.02)
