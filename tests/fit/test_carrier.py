"""The carrier of a class D amplifier is taken out of a record, and its signal is not."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.fit.reading.carrier import clear_of, without_carrier
from benchctl.measure.signal.record import Capture, Trace

INTERVAL_S = 5e-6
STEP_V = 1e-3


def capture_of(values: np.ndarray) -> Capture:
    codes = np.rint(values / STEP_V).astype(np.int16)
    trace = Trace(codes, STEP_V, 0.0, "V", -32768, 32767)
    return Capture("captures/0001-burst.npz", -0.005, INTERVAL_S, {"output A": trace}, 0.0)


@pytest.mark.parametrize("carrier_hz", [113e3, 352e3, 400.3e3])
def test_a_burst_is_left_as_it_was_without_its_carrier(carrier_hz: float) -> None:
    """At 200 kSa/s 113 kHz folds to 87 kHz, 352 kHz to 48 kHz, which is a harmonic of the tone, 400.3 kHz to 300 Hz:
    nothing tells that from a signal, so it stays."""
    at_s = INTERVAL_S * np.arange(20000) - 0.005
    burst = np.where((at_s >= 0) & (at_s < 0.008), 20.0, 2.0) * np.sin(2 * np.pi * 1e3 * at_s)
    carrier = 0.35 * np.sin(2 * np.pi * carrier_hz * at_s)
    found = without_carrier(capture_of(burst + carrier), 20e3, 1e3, 0.009).traces["output A"].values()
    ringing_s = clear_of(20e3)
    inside = (at_s > ringing_s) & (at_s < 0.008 - ringing_s)
    left = float(np.abs(found - burst)[inside].max())
    assert left < 0.02 if carrier_hz < 400e3 else left > 0.2


def test_an_amplifier_without_a_carrier_keeps_its_record() -> None:
    capture = capture_of(np.sin(np.arange(1000.0)))
    assert without_carrier(capture, None, 1e3, 0.0) is capture
