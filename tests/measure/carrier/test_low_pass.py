"""What a low-pass leaves of a record: all of what is heard, and nothing of a carrier."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.measure.carrier.low_pass import band_of, low_passed
from benchctl.measure.signal.record import Capture, Samples, Trace

RATE_HZ = 2.5e6
EDGE_HZ = 20e3


def time_s(samples: int) -> Samples:
    return np.arange(samples) / RATE_HZ


def capture_of(values: Samples, interval_s: float) -> Capture:
    codes = np.rint(values * 1000.0).astype(np.int16)
    trace = Trace(codes, 1e-3, 0.0, "V", -32768, 32767)
    return Capture("tone", 0.0, interval_s, {"output A": trace, "supply current": trace}, 0.0)


@pytest.mark.parametrize("samples", [50_000, 49_999, 12_345])
@pytest.mark.parametrize("frequency_hz", [20.0, 997.0, 6667.0, 20e3])
def test_a_tone_up_to_the_edge_stays_as_it_is(frequency_hz: float, samples: int) -> None:
    """AES17 (from memory): +-0.1 dB up to 20 kHz. Most of a millisecond at either end may ring."""
    tone = np.sin(2.0 * math.pi * frequency_hz * time_s(samples) + 0.3)
    middle = slice(samples // 5, -samples // 5)
    assert np.max(np.abs(band_of(tone, 1.0 / RATE_HZ, EDGE_HZ)[middle] - tone[middle])) < 0.01


@pytest.mark.parametrize("carrier_hz", [24e3, 150e3, 400.3e3, 1.1e6])
def test_a_carrier_is_taken_off_by_60_db(carrier_hz: float) -> None:
    """AES17 (from memory): 60 dB and more above 24 kHz."""
    carrier = np.sin(2.0 * math.pi * carrier_hz * time_s(50_000))
    left = band_of(carrier, 1.0 / RATE_HZ, EDGE_HZ)[5_000:-5_000]
    assert np.max(np.abs(left)) < 1e-3


def test_only_outputs_are_filtered_and_their_codes_are_kept() -> None:
    capture = capture_of(np.sin(2.0 * math.pi * 400e3 * time_s(5_000)), 1.0 / RATE_HZ)
    heard = low_passed(capture, EDGE_HZ)
    assert np.std(heard.traces["output A"].values()) < 0.02
    assert np.array_equal(heard.traces["output A"].codes, capture.traces["output A"].codes)
    assert heard.traces["supply current"] is capture.traces["supply current"]


def test_a_part_of_a_filtered_record_is_filtered_too() -> None:
    heard = low_passed(capture_of(np.sin(2.0 * math.pi * 1e3 * time_s(5_000)), 1.0 / RATE_HZ), EDGE_HZ)
    part = heard.window(0.0005, 0.001).traces["output A"].values()
    assert np.array_equal(part, heard.traces["output A"].values()[1250:2500])


def test_a_record_that_shows_nothing_above_the_band_stays_as_it_is() -> None:
    coarse = capture_of(np.zeros(1000), 1.0 / 45e3)
    assert low_passed(coarse, EDGE_HZ) is coarse
    assert low_passed(coarse, None) is coarse
