"""The carrier of a class D amplifier is taken out of a record, and its signal is not."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.fit.reading.carrier import clear_of, samples_apart, without_carrier
from benchctl.fit.reading.items import Scale
from benchctl.fit.reading.thinning import noise_of_a_sample, resting_mean
from benchctl.measure.signal.record import Capture, Trace

INTERVAL_S = 5e-6
STEP_V = 1e-3


def capture_of(values: np.ndarray, interval_s: float = INTERVAL_S) -> Capture:
    codes = np.rint(values / STEP_V).astype(np.int16)
    trace = Trace(codes, STEP_V, 0.0, "V", -32768, 32767)
    return Capture("captures/0001-burst.npz", -0.005, interval_s, {"output A": trace}, 0.0)


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


@pytest.mark.parametrize("interval_s", [5e-6, 4e-7])
def test_noise_that_a_low_pass_has_made_smooth_is_not_taken_for_less(interval_s: float) -> None:
    """What neighbours differ by tells nothing of noise that the low-pass made alike in them."""
    chance = np.random.default_rng(1)
    noise = capture_of(chance.normal(0.0, 0.04, 60000), interval_s)
    heard = without_carrier(noise, 20e3, 1e3, noise.start_s).trace("output A")
    found_v = noise_of_a_sample(heard, samples_apart(interval_s, 20e3))
    assert found_v == pytest.approx(float(np.std(heard.values())), rel=0.15)
    assert found_v > 1.05 * noise_of_a_sample(heard)


def test_dc_at_rest_is_not_less_certain_for_a_carrier() -> None:
    """A carrier leaves nothing in a mean over thousands of its cycles, and spreads its samples over more steps."""
    at_s = INTERVAL_S * np.arange(20000)
    rest = 0.009 + np.random.default_rng(1).normal(0.0, 1e-3, at_s.size)
    scale, heard = Scale("output A", 0.0, "", 0.0, 0.0), samples_apart(INTERVAL_S, 20e3)
    capture = capture_of(rest + 0.35 * np.sin(2 * np.pi * 113e3 * at_s))
    item = resting_mean(capture, scale, without_carrier(capture, 20e3, 1e3, capture.start_s), heard)
    still = resting_mean(capture_of(rest), scale, capture_of(rest), 1)
    assert item.values[0] == pytest.approx(0.009, abs=2e-5)
    assert item.noise[0] <= 1.05 * still.noise[0]
