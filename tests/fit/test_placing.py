"""In a record of several repetitions the burst that is fitted stands at the trigger."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchctl.fit.reading.placing import with_burst_at_trigger
from benchctl.measure.analyses.context import BurstContext
from benchctl.measure.signal.record import Capture, Trace

INTERVAL_S, EVERY_S, FIRST_S = 1e-5, 0.1, 0.03
CONTEXT = BurstContext(frequency_hz=1e3, loads={}, cycles=8, every_s=EVERY_S, low_level_ratio=0.1, thd_n=0.01)


def record(repetitions: float, begins_s: float = 0.0) -> Capture:
    """Bursts of 8 cycles of 1 kHz, the first of them at `begins_s`, quieter by 20 dB between."""
    times_s = np.arange(round(repetitions * EVERY_S / INTERVAL_S)) * INTERVAL_S
    since_s = (times_s - begins_s) % EVERY_S
    sine = np.sin(2 * np.pi * 1e3 * since_s) * np.where(since_s < 8e-3, 1.0, 0.1)
    codes = np.round(1e4 * sine).astype(np.int16)
    return Capture("burst", 0.0, INTERVAL_S, {"output A": Trace(codes, 1e-3, 0.0, "V", -32768, 32767)}, 0.0)


def test_a_record_of_several_repetitions_is_cut_to_one_with_its_burst_at_the_trigger() -> None:
    placed = with_burst_at_trigger(record(4.0, FIRST_S), CONTEXT)
    times_s = placed.start_s + np.arange(placed.samples) * placed.interval_s
    loud_s = times_s[np.abs(placed.trace("output A").values()) > 2.0]
    assert loud_s[0] == pytest.approx(0.0, abs=1e-4)
    assert loud_s[-1] == pytest.approx(8e-3, abs=1e-4)
    assert -times_s[0] == pytest.approx(5e-3, abs=INTERVAL_S)


def test_a_record_of_one_repetition_is_left_as_it_is() -> None:
    capture = replace(record(1.1), start_s=-0.005)
    assert with_burst_at_trigger(capture, CONTEXT) is capture
