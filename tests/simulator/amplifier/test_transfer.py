"""The output of an output stage for a voltage asked for: at an instant, and averaged over a cycle."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.simulator.amplifier.transfer import Transfer

ANGLES = (np.arange(40_000) + 0.5) * 2 * np.pi / 40_000
TRANSFERS = st.builds(
    Transfer,
    dead_zone_v=st.one_of(st.just(0.0), st.floats(0.01, 2.0)),
    knee=st.one_of(st.just(0.0), st.floats(0.01, 0.5)),
    missing=st.sampled_from([None, "upper", "lower"]),
)


@settings(derandomize=True, max_examples=200, deadline=None)
@given(transfer=TRANSFERS, amplitude=st.floats(0.0, 60.0), offset=st.floats(-5.0, 5.0), limit=st.floats(0.0, 40.0))
def test_cycle_means_are_those_of_the_sampled_waveform(
    transfer: Transfer, amplitude: float, offset: float, limit: float
) -> None:
    """The probe's view and the rails' supply come from one function."""
    sampled = transfer.output_v(amplitude * np.sin(ANGLES) + offset, limit)
    means = transfer.means(amplitude, offset, limit)
    size = 1 + amplitude
    # The midpoint rule of 256 nodes misses a jump by half a node, and only a missing half with dc jumps.
    assert means.mean_v == pytest.approx(sampled.mean(), abs=3e-3 * size)
    assert means.absolute_v == pytest.approx(np.abs(sampled).mean(), abs=3e-3 * size)
    assert means.square_v2 == pytest.approx((sampled**2).mean(), abs=3e-3 * size**2)


@settings(derandomize=True, max_examples=200, deadline=None)
@given(transfer=TRANSFERS, amplitude=st.floats(0.0, 60.0), offset=st.floats(-5.0, 5.0), limit=st.floats(1.0, 40.0))
def test_no_output_passes_its_limit_nor_what_was_asked(
    transfer: Transfer, amplitude: float, offset: float, limit: float
) -> None:
    asked = amplitude * np.sin(ANGLES[::40]) + offset
    sizes = np.abs(transfer.output_v(asked, limit))
    assert np.all(sizes <= limit * (1 + 1e-12))
    assert np.all(sizes <= np.abs(asked) + 1e-12)


@settings(derandomize=True, max_examples=100, deadline=None)
@given(transfer=TRANSFERS, amplitude=st.floats(1.0, 60.0), limit=st.floats(2.0, 40.0))
def test_the_stated_slopes_are_derivatives_to_the_limit(transfer: Transfer, amplitude: float, limit: float) -> None:
    """By a difference wide enough that the nodes' own steps average out."""
    means = transfer.means(amplitude, 0.0, limit)
    step = 0.02 * limit
    above, below = transfer.means(amplitude, 0.0, limit + step), transfer.means(amplitude, 0.0, limit - step)
    assert means.absolute_slope == pytest.approx((above.absolute_v - below.absolute_v) / (2 * step), abs=0.06)
    assert means.square_slope_v == pytest.approx((above.square_v2 - below.square_v2) / (2 * step), abs=0.06 * 2 * limit)


def test_a_soft_knee_of_nothing_is_hard_clipping() -> None:
    asked = 12.0 * np.sin(ANGLES)
    soft, hard = Transfer(knee=1e-9).output_v(asked, 10.0), Transfer().output_v(asked, 10.0)
    assert soft == pytest.approx(hard, abs=1e-7)


def test_below_its_knee_a_soft_clipper_is_straight() -> None:
    asked = 7.9 * np.sin(ANGLES)
    assert np.array_equal(Transfer(knee=0.2).output_v(asked, 10.0), asked)


def test_a_soft_clipper_reaches_a_distortion_at_less_drive_than_a_hard_one() -> None:
    """Hard: 1 % at 1.02935 times the limit (Fourier series of the clipped sine, solved in arbitrary precision)."""
    assert Transfer().overdrive_at(0.01) == pytest.approx(1.029349916, rel=1e-6)
    assert Transfer(knee=0.2).overdrive_at(0.01) < 1.0293


@pytest.mark.parametrize("knee", [0.05, 0.2, 0.4])
def test_the_overdrive_found_has_the_distortion_asked_for(knee: float) -> None:
    """Checked by the transform of a sampled cycle: all harmonics over the first."""
    transfer = Transfer(knee=knee)
    spectrum = np.abs(np.fft.rfft(transfer.output_v(transfer.overdrive_at(0.01) * np.sin(ANGLES), 1.0)))
    assert math.sqrt(float(np.sum(spectrum[2:] ** 2))) / spectrum[1] == pytest.approx(0.01, rel=1e-3)


# Harmonics of a sine clipped at half its amplitude, over that amplitude: closed form
# b_n = (2A/(n·pi))·[sin((n-1)a)/(n-1) + sin((n+1)a)/(n+1)], a = asin(1/2), checked by a 2^22-point transform.
CLIPPED_AT_HALF = {1: 0.608997781044, 3: 0.137832223855, 5: 0.0275664447711, 7: -0.00984515884682}


@pytest.mark.parametrize("harmonic", CLIPPED_AT_HALF)
def test_a_dead_zone_takes_away_what_clipping_would_have_left(harmonic: int) -> None:
    """x less its clipped self: the fundamental is 1 - b1, every harmonic that of the clipped sine, turned over."""
    output = Transfer(dead_zone_v=0.5).output_v(np.sin(ANGLES), 10.0)
    found = 2 * float(np.mean(output * np.sin(harmonic * ANGLES)))
    clipped = CLIPPED_AT_HALF[harmonic]
    assert found == pytest.approx(1 - clipped if harmonic == 1 else -clipped, abs=1e-6)


def test_crossover_distortion_is_worse_the_smaller_the_signal() -> None:
    def distortion(amplitude: float) -> float:
        spectrum = np.abs(np.fft.rfft(Transfer(dead_zone_v=0.1).output_v(amplitude * np.sin(ANGLES), 100.0)))
        return math.sqrt(float(np.sum(spectrum[2:] ** 2))) / float(spectrum[1])

    assert distortion(1.0) > 3 * distortion(10.0) > 9 * distortion(100.0)


@pytest.mark.parametrize(("missing", "mean"), [("upper", -1 / math.pi), ("lower", 1 / math.pi)])
def test_an_open_device_leaves_half_a_wave_and_its_dc(missing: str, mean: float) -> None:
    """A half-wave rectified sine has a mean of peak/pi and a mean square of a quarter (textbook)."""
    means = Transfer(missing=missing).means(10.0, 0.0, 20.0)  # type: ignore[arg-type]
    assert means.mean_v == pytest.approx(10.0 * mean, rel=1e-4)
    assert means.square_v2 == pytest.approx(25.0, rel=1e-4)


def test_a_distortion_that_clipping_cannot_give_is_refused() -> None:
    with pytest.raises(ValueError, match="cannot have"):
        Transfer(knee=0.1).overdrive_at(0.6)
