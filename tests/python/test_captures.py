"""Records as a program sees them: time from the trigger, volts and amperes by channel, and what was clipped."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.measure.conditions import Conditions
from benchctl.measure.signal.record import Capture, Trace
from benchctl.python.captures import recorded

CODES = np.array([-128, 0, 50, 100], dtype=np.int16)


def trace(codes: np.ndarray, unit: str, zero: float = 0.0) -> Trace:
    return Trace(codes, scale=0.5, offset=1.0, unit=unit, low_code=-128, high_code=127, zero=zero)


def made() -> Capture:
    traces = {
        "output A": trace(CODES, "V"),
        "output B": trace(CODES // 2, "V", zero=0.25),
        "output current A": trace(CODES // 4, "A"),
    }
    return Capture("captures/0001-burst.npz", start_s=-2e-3, interval_s=1e-3, traces=traces, taken_s=7.0)


def test_the_trigger_is_at_time_0_and_samples_before_it_are_negative() -> None:
    capture = recorded(made(), Conditions(load_ohm=4.0), simulated=False)
    assert capture.time_s == pytest.approx([-2e-3, -1e-3, 0.0, 1e-3])
    assert capture.frame().index.tolist() == capture.time_s.tolist()
    assert (capture.samples, capture.sample_rate_hz) == (4, pytest.approx(1000.0))


def test_volts_and_amperes_are_by_channel_with_the_zero_taken_off() -> None:
    """value = code * scale + offset - zero"""
    capture = recorded(made(), Conditions(), simulated=None)
    assert capture.volts["A"].tolist() == [-63.0, 1.0, 26.0, 51.0]
    assert capture.volts["B"].tolist() == [-31.25, 0.75, 13.25, 25.75]
    assert set(capture.volts) == {"A", "B"}
    assert capture.amperes["A"].tolist() == [-15.0, 1.0, 7.0, 13.5]
    assert set(capture.amperes) == {"A"}


def test_a_signal_that_reached_the_end_of_the_range_is_named() -> None:
    assert recorded(made(), Conditions(), simulated=None).clipped == ("output A",)


def test_a_record_is_shown_in_one_line_and_not_with_all_its_samples() -> None:
    shown = repr(recorded(made(), Conditions(), simulated=True))
    assert shown == "<captures/0001-burst.npz: simulated, 4 samples at 1000 Hz of output A, output B, output current A>"
