"""The oscilloscope's converter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from benchctl.simulator.instruments.oscilloscopes.recording.digitiser import Digitiser, OwnNoise, Transitions, Vertical
from benchctl.simulator.model.true_errors import TrueError

VERTICAL = Vertical(volts_per_division=0.5)
CHANCE = np.random.default_rng(1)


def digitiser(bits: int = 8, noise_lsb: float = 0.0, error: TrueError | None = None) -> Digitiser:
    """Probe 1:10."""
    return Digitiser(bits, 0.1, error or TrueError(), lambda _: 0.0, noise_lsb)


@pytest.mark.parametrize("bits", [8, 10, 12])
def test_the_whole_screen_is_the_whole_converter(bits: int) -> None:
    """8 divisions of 0.5 V behind a 1:10 probe: -20 V to 20 V."""
    codes = digitiser(bits).codes(np.array([-30.0, -20.0, 0.0, 19.999, 30.0]), VERTICAL, CHANCE)
    assert codes.tolist() == [-(2 ** (bits - 1)), -(2 ** (bits - 1)), 0, 2 ** (bits - 1) - 1, 2 ** (bits - 1) - 1]


@pytest.mark.parametrize("bits", [8, 12])
def test_an_ideal_converter_has_the_noise_of_its_steps(bits: int) -> None:
    """LSB/sqrt(12) (IEEE 1241); a sine that fills the screen."""
    volts = 19.9 * np.sin(np.linspace(0, 200 * np.pi, 100_003))
    codes = digitiser(bits).codes(volts, VERTICAL, CHANCE)
    error = codes - volts * 0.1 / digitiser(bits).step_v(VERTICAL)
    assert error.std() == pytest.approx(12**-0.5, rel=0.02)


def test_noise_of_the_signal_the_input_and_the_converter_add_in_squares() -> None:
    """3, 4 and 12 steps give 13; quantising adds a twelfth in squares."""
    step_v = digitiser(8).step_v(VERTICAL)
    noisy = replace(digitiser(8, noise_lsb=3.0), own_noise=OwnNoise(floor_v=4 * step_v))
    codes = noisy.codes(12 * step_v / 0.1 * CHANCE.standard_normal(200_000), VERTICAL, CHANCE)
    assert codes.std() == pytest.approx((169 + 1 / 12) ** 0.5, rel=0.01)


def test_an_input_has_a_floor_of_noise_and_a_share_of_its_range() -> None:
    """3 mV and 0.1 % of 4 V are 5 mV; on the finest range the floor is left."""
    own = OwnNoise(floor_v=3e-3, of_range=1e-3)
    assert (own.rms_v(4.0), own.rms_v(1e-3)) == (pytest.approx(5e-3), pytest.approx(3e-3, rel=1e-6))


def test_a_quiet_converter_keeps_a_steady_voltage_on_one_step() -> None:
    """A voltage 0.3 of a step above a code: with 0.05 steps of noise (4 sigma from the edge) the record is one number;
    with 0.5 steps its mean finds the 0.3 again (dither, IEEE 1241)."""
    volts = np.full(100_000, 7.3 * digitiser(8).step_v(VERTICAL) / 0.1)
    quiet, dithered = (digitiser(8, noise_lsb=each).codes(volts, VERTICAL, CHANCE) for each in (0.04, 0.5))
    assert (quiet.min(), quiet.max()) == (7, 7)
    assert dithered.mean() == pytest.approx(7.3, abs=0.02)


def test_gain_and_offset_errors_shift_what_is_indicated() -> None:
    codes = digitiser(12, error=TrueError(gain=0.01, offset=0.1)).codes(np.array([10.0]), VERTICAL, CHANCE)
    assert codes[0] * digitiser(12).step_v(VERTICAL) == pytest.approx(10 * 0.1 * 1.01 + 0.1, abs=1e-3)


def transitions_of(converter: Digitiser) -> np.ndarray:
    """Where it passes from code to code, in steps, by a slow ramp without noise over the middle of the screen."""
    step_v = converter.step_v(VERTICAL) / 0.1
    places = np.arange(-60.0, 60.0, 1e-3)
    codes = converter.codes(places * step_v, VERTICAL, CHANCE)
    assert set(np.diff(codes)) == {0, 1}, "every code is there, in its order"
    return places[1:][np.diff(codes) > 0]


def test_steps_that_are_unlike_begin_off_by_what_is_stated_and_no_code_is_missing() -> None:
    """Transitions lie halfway between codes, each off by a tenth of a step, RMS (code transition levels, IEEE 1057)."""
    unlike = replace(digitiser(8), transitions=Transitions(8, 0.1, np.random.default_rng(5)))
    found = transitions_of(unlike)
    off = found - np.rint(found + 0.5) + 0.5
    assert np.std(off) == pytest.approx(0.1, rel=0.2)
    assert transitions_of(digitiser(8)) == pytest.approx(np.arange(-59.5, 60.0), abs=2e-3)


def test_unlike_steps_move_a_mean_that_noise_alone_would_bring_to_its_place() -> None:
    """At half a step of noise a mean of a million samples is known to a thousandth of a step; it is off by some
    hundredths, always alike for one converter."""
    volts = np.full(1_000_000, 7.3 * digitiser(8).step_v(VERTICAL) / 0.1)
    unlike = replace(digitiser(8, noise_lsb=0.5), transitions=Transitions(8, 0.15, np.random.default_rng(5)))
    first, second = (unlike.codes(volts, VERTICAL, CHANCE).mean() for _ in range(2))
    assert abs(first - 7.3) > 0.02
    assert first == pytest.approx(second, abs=5e-3)


@pytest.mark.parametrize("bits", [8, 12])
def test_unlike_steps_leave_the_ends_of_the_screen_where_they_are(bits: int) -> None:
    unlike = replace(digitiser(bits), transitions=Transitions(bits, 0.3, np.random.default_rng(5)))
    codes = unlike.codes(np.array([-30.0, 30.0]), VERTICAL, CHANCE)
    assert codes.tolist() == [-(2 ** (bits - 1)), 2 ** (bits - 1) - 1]
