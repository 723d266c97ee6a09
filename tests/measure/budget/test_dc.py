"""The dc at the outputs in one record, and the most that it may be off."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.measure.budget.dc import OutputDc, output_dc, worst_dc
from benchctl.measure.signal.record import Capture, Trace
from benchctl.measure.uncertainty import Accuracy

CHAIN = (Accuracy(reading=0.03, range=0.01), Accuracy(reading=0.02))
SCALE_V = 0.001


def record(values: np.ndarray, *, zero_limit: float | None = None) -> Capture:
    codes = np.rint(values / SCALE_V).astype(np.int16)
    trace = Trace(codes, SCALE_V, 0.0, "V", -30_000, 30_000, zero_limit=zero_limit)
    return Capture("test", 0.0, 1e-5, {"output A": trace}, 0.0)


def dc_of(capture: Capture, frequency_hz: float | None = None) -> OutputDc:
    (found,) = output_dc(capture, {"output A": CHAIN}, frequency_hz)
    return found


def test_without_a_zero_the_stated_accuracies_add_up() -> None:
    """5 % of 2 V, and 1 % of a range of 60 V: limits of error, which add."""
    found = dc_of(record(np.full(1000, 2.0)))
    assert found.value_v == pytest.approx(2.0)
    assert found.limit_v == pytest.approx(0.1 + 0.6)
    assert found.surely_v == pytest.approx(1.3)


def test_with_a_zero_what_it_leaves_counts_instead() -> None:
    found = dc_of(record(np.full(1000, 2.0), zero_limit=0.05))
    assert found.limit_v == pytest.approx(0.1 + 0.05)


def test_the_part_of_a_cycle_at_the_end_of_a_record_is_no_dc() -> None:
    """10.5 cycles of 20 V: all of it would have a mean of 2 * 20 V / (pi * 21)."""
    times_s = np.arange(1050) * 1e-5
    tone = record(20.0 * np.sin(2 * np.pi * 1e3 * times_s) + 0.5, zero_limit=0.05)
    assert dc_of(tone, 1e3).value_v == pytest.approx(0.5, abs=1e-3)
    assert abs(dc_of(tone).value_v - 0.5) > 0.3


def test_a_mean_that_moves_in_the_record_is_known_less_well() -> None:
    slow_hum = record(0.3 * np.sin(2 * np.pi * 50.0 * np.arange(1000) * 1e-5) + 1.0, zero_limit=0.05)
    assert dc_of(slow_hum).limit_v > 0.15


def test_less_than_its_limit_of_error_is_surely_nothing() -> None:
    assert OutputDc("A", -0.3, 0.4).surely_v == 0.0
    assert OutputDc("A", -0.9, 0.4).surely_v == pytest.approx(0.5)


def test_the_worst_output_is_that_with_most_dc_for_sure() -> None:
    vague, sure = OutputDc("A", 2.0, 1.9), OutputDc("B", -1.0, 0.1)
    assert worst_dc((vague, sure)) is sure
    assert worst_dc((OutputDc("A", 0.1, 0.5), OutputDc("B", -0.2, 0.5))) == OutputDc("B", -0.2, 0.5)
    assert worst_dc(()) is None
