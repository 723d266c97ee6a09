"""Thumps and inrush from records: the closed form of a decaying pulse, and bounds where a record does not tell all."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.measure.analyses.turn_on_figures import TurnOnContext, turn_on
from benchctl.measure.budget.figure import Figure
from benchctl.measure.signal.record import Capture, Trace
from benchctl.measure.uncertainty import Accuracy, LoadResistance

TAU_S = 0.02
CONTEXT = TurnOnContext(
    accuracy={"output A": (Accuracy(reading=0.01),), "supply current": (Accuracy(reading=0.02),)},
    loads={"A": LoadResistance(4.0, 4.0)},
)


def found(
    peak_v: float, began_s: float = 1.0, rate_hz: float = 50e3, bits: int = 16, full_v: float = 20.0
) -> dict[str, Figure]:
    """Of a pulse on 10 mV of dc and 1 mV of noise, beside an inrush of 30 A for 2 ms."""
    times_s = np.arange(round(2.0 * rate_hz)) / rate_hz
    since = (times_s - began_s) / TAU_S
    noise = np.random.default_rng(5).normal(0.0, 1e-3, times_s.size)
    volts = 0.010 + noise + np.where(since >= 0.0, peak_v * np.exp(-np.maximum(since, 0.0)), 0.0)
    amperes = 2.0 + noise + np.where((times_s > 0.5) & (times_s < 0.502), 30.0, 0.0)
    traces = {}
    for name, values, full in (("output A", volts, full_v), ("supply current", amperes, 100.0)):
        step, top = full / 2**bits, 2 ** (bits - 1) - 1
        codes = np.clip(np.round(values / step), -top - 1, top).astype(np.int16)
        traces[name] = Trace(codes, step, 0.0, "V" if name != "supply current" else "A", -top - 1, top)
    capture = Capture("captures/on.npz", 0.0, 1.0 / rate_hz, traces, 2.0)
    return {figure.name: figure for figure in turn_on({"on": capture}, {}, CONTEXT)}


def test_a_thump_is_what_is_beyond_the_usual_voltage() -> None:
    """Over half a period of 20 kHz, in which 20 ms of decay lose a thousandth."""
    assert found(3.0)["turn_on_thump"].value == pytest.approx(3.0, rel=3e-3)
    assert found(-3.0)["turn_on_thump"].value == pytest.approx(3.0, rel=3e-3)


def test_the_energy_is_that_of_an_exponential() -> None:
    """V^2 tau / 2 R."""
    energy = found(3.0)["turn_on_thump_energy"]
    assert energy.value == pytest.approx(9.0 * TAU_S / 8.0, rel=2e-3)
    assert (energy.unit, energy.bound) == ("J", "")


def test_the_inrush_is_the_highest_current() -> None:
    assert found(3.0)["inrush_current"].value == pytest.approx(32.0, rel=2e-3)


def test_noise_is_no_thump() -> None:
    thump = found(0.002)["turn_on_thump"]
    assert (thump.bound, thump.value < 0.02) == ("at most", True)


def test_a_thump_beyond_the_range_is_at_least_what_the_range_shows() -> None:
    thump = found(3.0, full_v=4.0)["turn_on_thump"]
    assert (thump.bound, "beyond the oscilloscope's range" in thump.bound_reason) == ("at least", True)
    assert 1.9 < thump.value <= 2.0


def test_samples_far_apart_may_miss_the_peak() -> None:
    figures = found(3.0, rate_hz=2e3)
    assert figures["turn_on_thump"].bound == figures["inrush_current"].bound == "at least"
    assert "0.5 ms apart" in figures["inrush_current"].bound_reason


def test_a_thump_at_the_end_of_the_record_may_not_have_been_the_last() -> None:
    thump = found(3.0, began_s=1.99)["turn_on_thump"]
    assert (thump.bound, "longer 'for'" in thump.bound_reason) == ("at least", True)


def test_the_steps_of_eight_bits_hide_a_small_thump() -> None:
    """20 V in 256 steps of 78 mV."""
    assert found(0.05, bits=8)["turn_on_thump"].bound == "at most"
