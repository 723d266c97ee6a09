"""Power stated at one voltage: a straight line through the powers at two, and what both instruments leave open."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.stated_power import StatedContext, stated_power
from benchctl.measure.budget.figure import Figure
from benchctl.measure.signal.record import Capture, Trace
from benchctl.measure.uncertainty import Accuracy, LoadResistance
from tests.measure.convolved import reach

RATE_HZ = 200e3
TIMES_S = np.arange(8000) / RATE_HZ
CHAINS = {"output A": (Accuracy(reading=0.01),), "supply voltage": (Accuracy(reading=0.005),)}
CONTEXT = StatedContext(
    accuracy=CHAINS, frequency_hz=1e3, loads={"A": LoadResistance(4.0, 4.0)}, voltage_v=14.4, level_us={}
)


def record(name: str, rms_v: float, supply_v: float) -> Capture:
    wave = math.sqrt(2.0) * rms_v * np.sin(2.0 * math.pi * 1e3 * TIMES_S)
    noise = np.random.default_rng(3).normal(0.0, 2e-3, TIMES_S.size)
    scales = {"output A": (wave + noise, 2e-3), "supply voltage": (supply_v + noise, 1e-3)}
    traces = {
        signal: Trace(np.round(values / scale).astype(np.int16), scale, 0.0, "V", -(2**15), 2**15 - 1)
        for signal, (values, scale) in scales.items()
    }
    return Capture(f"captures/{name}.npz", 0.0, 1.0 / RATE_HZ, traces, 1.0)


HIGH, LOW = record("high", 25.6, 14.5), record("low", 25.0, 14.2)
LOW_W, SLOPE = 25.0**2 / 4.0, (25.6**2 - 25.0**2) / 4.0 / 0.3


def found(context: StatedContext = CONTEXT, high: Capture = HIGH, low: Capture = LOW) -> dict[str, Figure]:
    figures = stated_power({"higher": high, "lower": low}, {}, context)
    return {figure.name: figure for figure in figures if figure.channel == "A"}


def test_power_is_that_of_the_straight_line_at_the_voltage() -> None:
    assert found()["power_per_volt"].value == pytest.approx(SLOPE, rel=1e-3)
    assert found()["stated_power"].value == pytest.approx(LOW_W + SLOPE * 0.2, rel=1e-4)


def test_the_voltage_that_it_is_stated_at_counts_by_the_power_per_volt() -> None:
    """Gain of the output chain twice, and that of the probe at the terminals times the slope (JCGM 100, 5.1.2)."""
    stated = found()["stated_power"]
    by_output, by_voltage = 0.02 * stated.value, SLOPE * 0.005 * 14.4
    assert stated.expanded_uncertainty == pytest.approx(reach(by_output, by_voltage), rel=0.02)


def test_levels_that_are_not_well_known_leave_the_power_per_volt_open() -> None:
    """A hundredth of a level is two of its power; of two unlike powers both count."""
    loose = replace(CONTEXT, level_us={"higher": 0.001, "lower": 0.001})
    each_w = 0.002 * LOW_W
    least = 2.0 * math.hypot(each_w, each_w) / 0.3
    assert (found(loose)["power_per_volt"].expanded_uncertainty or 0.0) > least


def test_a_voltage_far_beside_both_is_not_stated() -> None:
    with pytest.raises(MeasurementError, match=r"15 V lies too far beside .* 14\.2 V and 14\.5 V"):
        found(replace(CONTEXT, voltage_v=15.0))


def test_two_voltages_that_cannot_be_told_apart_give_no_line() -> None:
    with pytest.raises(MeasurementError, match="too near to each other"):
        found(high=record("high", 25.1, 14.2))


def test_without_a_sight_of_the_terminals_nothing_is_stated() -> None:
    blind = {
        role: replace(each, traces={"output A": each.traces["output A"]})
        for role, each in (("higher", HIGH), ("lower", LOW))
    }
    with pytest.raises(MeasurementError, match="nothing measured"):
        stated_power(blind, {}, CONTEXT)
    read = {"terminal_voltage_higher": [14.5], "terminal_voltage_lower": [14.2]}
    (slope, *_) = [f for f in stated_power(blind, read, CONTEXT) if f.name == "power_per_volt"]
    assert slope.value == pytest.approx(SLOPE, rel=1e-3)
