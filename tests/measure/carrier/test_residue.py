"""What is left of a carrier: a sine of amplitude a has an RMS of a / sqrt(2), whatever tone plays beside it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.measure.carrier.residue import Residue, residue
from benchctl.measure.signal.distortion import tone_spectrum

BAND_HZ = 20e3


def found(
    *,
    carrier_v: float = 0.0,
    carrier_hz: float = 352e3,
    rate_hz: float = 2.5e6,
    clip: float = 9.0,
    noise_v: float = 1e-3,
) -> Residue | None:
    time_s = np.arange(round(0.04 * rate_hz)) / rate_hz
    tone = 25.0 * np.clip(np.sin(2.0 * math.pi * 1e3 * time_s), -clip, clip)
    carrier = math.sqrt(2.0) * carrier_v * np.cos(2.0 * math.pi * carrier_hz * time_s + 0.7)
    noise = noise_v * np.random.default_rng(3).standard_normal(time_s.size)
    return residue(tone_spectrum(tone + carrier + noise, 1.0 / rate_hz, 1e3), BAND_HZ)


@pytest.mark.parametrize("clip", [9.0, 0.9715])
@pytest.mark.parametrize("carrier_hz", [150.1e3, 352e3, 400.337e3, 900e3])
def test_its_rms_and_frequency_are_found_beside_a_clean_or_a_clipped_tone(carrier_hz: float, clip: float) -> None:
    """0.9715 is where a clipped sine has 1 % of harmonics, some of them above the band."""
    seen = found(carrier_v=0.18, carrier_hz=carrier_hz, clip=clip)
    assert seen is not None
    assert not seen.is_bound
    assert seen.rms_v.nominal_value == pytest.approx(0.18, rel=0.01)
    assert seen.frequency_hz is not None
    assert seen.frequency_hz.nominal_value == pytest.approx(carrier_hz, abs=12.6)


def test_without_a_carrier_there_is_only_a_bound() -> None:
    seen = found(noise_v=2e-3)
    assert seen is not None
    assert seen.is_bound
    assert seen.rms_v.nominal_value == pytest.approx(2e-3, rel=0.05)
    assert seen.frequency_hz is None


def test_a_record_too_coarse_to_tell_where_a_carrier_is_names_no_frequency() -> None:
    seen = found(carrier_v=0.18, carrier_hz=352e3, rate_hz=500e3)
    assert seen is not None
    assert seen.rms_v.nominal_value == pytest.approx(0.18, rel=0.01)
    assert seen.frequency_hz is None
