"""Figures of square waves: what tells a slew rate from a bandwidth, and when no more than a bound is known."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.square_figures import LARGE, SMALL, SquareContext, role_of, square
from benchctl.measure.budget.figure import Figure
from benchctl.measure.signal.record import Capture
from tests.measure.conftest import digitise

SQUARE_HZ, RATE_HZ = 10e3, 100e6
HALF = round(0.5 / SQUARE_HZ * RATE_HZ)


def record(name: str, peak_v: float, *, rise_s: float = 0.0, slew_v_per_s: float = np.inf, bits: int = 8) -> Capture:
    """A square wave of +-peak whose edges are a line of this rise time, or of this slew rate if that is slower."""
    ramp_s = max(rise_s / 0.8, 2.0 * peak_v / slew_v_per_s)
    edge = peak_v * (2.0 * np.clip(np.arange(HALF) / RATE_HZ / ramp_s, 0.0, 1.0) - 1.0)
    noise = np.random.default_rng(8).normal(0.0, peak_v / 400.0, 6 * HALF)
    trace = digitise(np.concatenate([edge, -edge] * 3) + noise, 3.0 * peak_v, bits=bits)
    return Capture(name, 0.0, 1.0 / RATE_HZ, {"output A": trace}, 0.0)


def figures_of(small: Capture, large: Capture, own_s: float | None = 0.05e-6) -> dict[str, Figure]:
    context = SquareContext(
        waves_hz={role_of(kind, SQUARE_HZ): SQUARE_HZ for kind in (SMALL, LARGE)},
        own_rise_s={} if own_s is None else {"output A": own_s},
        unknown="give 'bandwidth'",
    )
    captures = {role_of(SMALL, SQUARE_HZ): small, role_of(LARGE, SQUARE_HZ): large}
    return {figure.name: figure for figure in square(captures, {}, context)}


def test_an_edge_that_grows_with_the_level_has_a_slew_rate() -> None:
    """40 V peak at 5 V/us: 80 V in 16 us; at 4 V the 2 us of the bandwidth count."""
    figures = figures_of(
        record("s", 4.0, rise_s=2e-6, slew_v_per_s=5e6), record("l", 40.0, rise_s=2e-6, slew_v_per_s=5e6)
    )
    slew = figures["slew_rate"]
    assert not slew.bound
    assert slew.value == pytest.approx(5e6, abs=2.0 * (slew.expanded_uncertainty or 0.0))
    assert (slew.expanded_uncertainty or 1e9) < 0.05 * 5e6
    assert figures["rise_time"].value == pytest.approx(2e-6, rel=0.02)


def test_an_edge_of_the_same_length_at_both_levels_has_no_slew_rate_but_a_bound() -> None:
    """2 us at both: the output was seen to do 0.8 * 80 V in 2 us, 32 V/us, and may do more."""
    slew = figures_of(record("s", 4.0, rise_s=2e-6), record("l", 40.0, rise_s=2e-6))["slew_rate"]
    assert slew.bound == "at least"
    assert slew.value == pytest.approx(32e6, rel=0.05)
    assert slew.value < 32e6


def test_without_the_instruments_own_rise_time_it_is_at_most_what_is_seen() -> None:
    rise = figures_of(record("s", 4.0, rise_s=2e-6), record("l", 40.0, rise_s=2e-6), own_s=None)["rise_time"]
    assert rise.bound == "at most"
    assert 2e-6 <= rise.value < 2.1e-6
    assert "bandwidth" in rise.bound_reason


def test_where_most_of_it_is_the_instruments_own_it_is_a_bound() -> None:
    rise = figures_of(record("s", 4.0, rise_s=2e-6), record("l", 40.0, rise_s=2e-6), own_s=1.5e-6)["rise_time"]
    assert rise.bound == "at most"


def test_an_edge_between_two_samples_is_a_bound() -> None:
    rise = figures_of(record("s", 4.0, rise_s=5e-9), record("l", 40.0, rise_s=5e-9))["rise_time"]
    assert rise.bound == "at most"
    assert rise.value >= 5e-9


def test_noise_is_no_overshoot() -> None:
    overshoot = figures_of(record("s", 4.0, rise_s=2e-6), record("l", 40.0, rise_s=2e-6))["overshoot"]
    assert overshoot.bound == "at most"
    assert overshoot.value < 0.03


def ringing(name: str, peak_v: float) -> Capture:
    """Second order of damping 0.3 at 50 kHz, whose ringing has not died out when the next edge of 10 kHz comes."""
    half, interval_s = 5000, 0.5 / SQUARE_HZ / 5000
    turned = 2.0 * np.pi * 50e3 * np.arange(half) * interval_s
    root = np.sqrt(1.0 - 0.3**2)
    step = 1.0 - np.exp(-0.3 * turned) * (np.cos(root * turned) + 0.3 / root * np.sin(root * turned))
    edge = peak_v * (2.0 * step - 1.0) + np.random.default_rng(9).normal(0.0, peak_v / 400.0, half)
    trace = digitise(np.concatenate([edge, -edge] * 3), 4.5 * peak_v, bits=8)
    return Capture(name, 0.0, interval_s, {"output A": trace}, 0.0)


def test_a_top_that_has_not_settled_leaves_its_figures_uncertain_enough() -> None:
    """exp(-pi z / sqrt(1 - z^2)) is 37.2326 % for 0.3, and there is no tilt."""
    figures = figures_of(ringing("s", 4.0), ringing("l", 40.0))
    overshoot, tilt = figures["overshoot"], figures["tilt"]
    assert abs(overshoot.value - 0.372326) < (overshoot.expanded_uncertainty or 0.0)
    assert abs(tilt.value) < (tilt.expanded_uncertainty or 0.0)
    assert abs(tilt.value) > 0.01  # or there were nothing to cover


def test_a_sine_is_refused() -> None:
    values = 40.0 * np.sin(2.0 * np.pi * np.arange(6 * HALF) / (2 * HALF))
    sine = Capture("sine", 0.0, 1.0 / RATE_HZ, {"output A": digitise(values, 120.0)}, 0.0)
    with pytest.raises(MeasurementError, match="longer than"):
        figures_of(sine, sine)
