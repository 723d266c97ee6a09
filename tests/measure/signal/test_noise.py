"""What the noise of a silent output promises."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.errors import RecordTooShort, SampledTooSlowly, UnreadableRecord
from benchctl.measure.signal.noise import noise

RATE_HZ = 100e3
TIMES_S = np.arange(100_000) / RATE_HZ


def _tone(frequency_hz: float, rms_v: float) -> np.ndarray:
    return rms_v * math.sqrt(2.0) * np.sin(2.0 * np.pi * frequency_hz * TIMES_S)


def test_a_tone_at_one_kilohertz_reads_its_rms_with_and_without_weighting() -> None:
    measured = noise(_tone(1000.0, 1e-3), 1.0 / RATE_HZ)
    assert measured.rms_v == pytest.approx(1e-3, rel=1e-4)
    assert measured.a_weighted_v == pytest.approx(1e-3, rel=1e-3)


def test_hum_of_the_supply_counts_little_when_weighted() -> None:
    """100 Hz is 19.1 dB down on the A curve (IEC 61672-1)."""
    measured = noise(_tone(100.0, 1e-3), 1.0 / RATE_HZ)
    assert 20.0 * math.log10(measured.a_weighted_v / measured.rms_v) == pytest.approx(-19.1, abs=0.1)


def test_dc_and_what_lies_beyond_the_band_do_not_count() -> None:
    record = 5.0 + _tone(1000.0, 1e-3) + _tone(30e3, 1e-3)
    assert noise(record, 1.0 / RATE_HZ).rms_v == pytest.approx(1e-3, rel=1e-3)


@pytest.mark.parametrize(("instrument_v", "is_bound"), [(1e-4, False), (5e-4, True)])
def test_an_instrument_nearly_as_noisy_as_the_output_makes_the_result_a_bound(
    instrument_v: float, is_bound: bool
) -> None:
    measured = noise(_tone(1000.0, 1e-3), 1.0 / RATE_HZ, instrument_v=_tone(2000.0, instrument_v))
    assert measured.is_bound is is_bound


def test_a_record_too_short_for_the_lowest_frequency_is_a_named_error() -> None:
    with pytest.raises(RecordTooShort):
        noise(np.zeros(5000), 1.0 / RATE_HZ)


def test_a_record_sampled_too_slowly_for_the_band_is_a_named_error() -> None:
    with pytest.raises(SampledTooSlowly):
        noise(np.zeros(40_000), 1.0 / 40e3)


def test_a_record_that_holds_no_numbers_is_a_named_error() -> None:
    with pytest.raises(UnreadableRecord):
        noise(np.full(100_000, np.nan), 1.0 / RATE_HZ)


def test_perfect_silence_is_zero_not_an_error() -> None:
    assert noise(np.zeros(100_000), 1.0 / RATE_HZ).rms_v == 0.0
