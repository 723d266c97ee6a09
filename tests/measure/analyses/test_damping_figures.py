"""Figures of output impedance from records whose truth is Ohm's law."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.damping_figures import DampingContext, damping
from benchctl.measure.budget.figure import Figure
from benchctl.measure.signal.record import Capture
from benchctl.measure.uncertainty import Accuracy, LoadResistance
from tests.measure.conftest import digitise

SCOPE = (Accuracy(reading=0.02, range=0.01), Accuracy(reading=0.02))  # a poor one: it must cancel
EIGHT_OHM, FOUR_OHM = (LoadResistance(ohm, ohm, relative_uncertainty=1e-6) for ohm in (8.0, 4.0))


def tone(name: str, rms_v: float) -> Capture:
    time_s = np.arange(20_000) * 2e-6
    volts = np.sqrt(2.0) * rms_v * np.sin(2 * np.pi * 1e3 * time_s)
    noise = np.random.default_rng(14).normal(0.0, 5e-3, time_s.size)
    return Capture(f"{name}.npz", 0.0, 2e-6, {"output A": digitise(volts + noise, 36.0)}, 0.0)


def figures_of(light_v: float, heavy_v: float, again_v: float | None = None) -> dict[tuple[str, float | None], Figure]:
    again_v = light_v if again_v is None else again_v
    captures = {"light": tone("a", light_v), "heavy": tone("b", heavy_v), "light again": tone("c", again_v)}
    loads = {"light": {"A": EIGHT_OHM}, "heavy": {"A": FOUR_OHM}}
    context = DampingContext(frequency_hz=1e3, accuracy={"output A": SCOPE}, **loads)
    return {(figure.name, figure.load_ohm): figure for figure in damping(captures, {}, context)}


def test_ten_volts_into_8_ohm_and_9_96_into_4_are_32_milliohm() -> None:
    """Z 0.0322580645 ohm, damping factors 248.000 and 124.000: worked by hand from Z = (V1 - V2)/(V2/R2 - V1/R1)."""
    figures = figures_of(10.0, 9.96)
    assert figures["output_impedance", None].value == pytest.approx(0.0322580645, rel=2e-3)
    assert figures["damping_factor", 8.0].value == pytest.approx(248.0, rel=2e-3)
    assert figures["damping_factor", 4.0].value == pytest.approx(124.0, rel=2e-3)


def test_an_error_that_all_records_share_cancels() -> None:
    """4 % of limit of error would be ten times the difference of the voltages."""
    impedance = figures_of(10.0, 9.96)["output_impedance", None]
    assert impedance.bound == ""
    assert (impedance.expanded_uncertainty or 1.0) < 0.02 * impedance.value


def test_drift_between_the_records_counts_as_uncertainty() -> None:
    steady, drifting = (figures_of(10.0, 9.96, again_v)["output_impedance", None] for again_v in (10.0, 10.01))
    assert (drifting.expanded_uncertainty or 0.0) > 5 * (steady.expanded_uncertainty or 1.0)


def test_an_impedance_that_drift_hides_is_a_bound() -> None:
    figures = figures_of(10.0, 9.999, 10.02)
    assert figures["output_impedance", None].bound == "at most"
    assert figures["damping_factor", 4.0].bound == "at least"
    assert figures["damping_factor", 4.0].value == pytest.approx(4.0 / figures["output_impedance", None].value)


def test_a_missing_record_is_told() -> None:
    context = DampingContext(frequency_hz=1e3, light={"A": EIGHT_OHM}, heavy={"A": FOUR_OHM})
    with pytest.raises(MeasurementError, match="before and after the heavier"):
        damping({"light": tone("a", 10.0)}, {}, context)
