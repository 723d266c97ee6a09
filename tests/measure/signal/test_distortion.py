"""Distortion is what is left in the band, and a record never claims to see below its own floor."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from benchctl.errors import MeasurementError, RecordTooShort, SampledTooSlowly
from benchctl.measure.signal.distortion import Distortion, harmonic_distortion, highest_harmonic, tone_spectrum
from benchctl.measure.signal.record import Capture, Trace
from tests.measure.tones import thd, thd_n

INTERVAL_S = 1e-6
TIME_S = np.arange(100_000) * INTERVAL_S


def tone(frequency_hz: float = 1000.0, *harmonics: tuple[float, float]) -> np.ndarray:
    """A sine of 1 V, and more of them: (frequency, amplitude)."""
    parts = [(frequency_hz, 1.0), *harmonics]
    return sum(amplitude * np.sin(2 * np.pi * hertz * TIME_S + 0.3 * hertz) for hertz, amplitude in parts)


def noise(rms: float) -> np.ndarray:
    return np.random.default_rng(9).normal(0.0, rms, TIME_S.size)


def test_thd_is_relative_to_the_fundamental_and_thd_n_to_the_whole() -> None:
    record = tone(1000.0, (2000.0, 0.3), (3000.0, 0.4))
    assert thd(record, INTERVAL_S, 1000.0).ratio == pytest.approx(0.5)
    assert thd_n(record, INTERVAL_S, 1000.0).ratio == pytest.approx(0.5 / math.sqrt(1.25))


@pytest.mark.parametrize("frequency_hz", [997.0, 1000.0, 1013.7])
def test_a_record_of_broken_cycles_shows_the_same_distortion(frequency_hz: float) -> None:
    record = tone(frequency_hz, (3 * frequency_hz, 0.01))
    assert thd_n(record, INTERVAL_S, frequency_hz).ratio == pytest.approx(0.01, rel=1e-3)
    assert thd(record, INTERVAL_S, frequency_hz).ratio == pytest.approx(0.01, rel=1e-4)


def test_what_lies_above_the_band_does_not_count() -> None:
    record = tone(1000.0, (19_000.0, 0.01), (21_000.0, 0.1))
    assert thd_n(record, INTERVAL_S, 1000.0).ratio == pytest.approx(0.01, rel=1e-3)


def test_an_offset_and_hum_below_20_hz_do_not_count() -> None:
    record = tone(1000.0, (10.0, 0.01), (5000.0, 0.01)) + 0.5
    assert thd_n(record, INTERVAL_S, 1000.0).ratio == pytest.approx(0.01, rel=1e-2)


def test_thd_leaves_out_what_is_no_harmonic() -> None:
    record = tone(1000.0, (1500.0, 0.01), (3000.0, 0.01))
    assert thd(record, INTERVAL_S, 1000.0).ratio == pytest.approx(0.01, rel=1e-3)


def test_thd_stops_at_the_highest_harmonic_that_is_asked_for() -> None:
    record = tone(1000.0, (10_000.0, 0.03), (11_000.0, 0.04))
    assert thd(record, INTERVAL_S, 1000.0).ratio == pytest.approx(0.03, rel=1e-3)
    assert thd(record, INTERVAL_S, 1000.0, highest=20).ratio == pytest.approx(0.05, rel=1e-3)


def test_noise_in_the_band_counts_as_distortion_of_the_amplifier_if_there_is_none_above_it() -> None:
    spectrum = np.fft.rfft(noise(0.05))
    spectrum[np.fft.rfftfreq(TIME_S.size, INTERVAL_S) > 20e3] = 0.0
    found = thd_n(tone() + np.fft.irfft(spectrum, TIME_S.size), INTERVAL_S, 1000.0)
    assert found.ratio == pytest.approx(0.05 * math.sqrt(0.04) * math.sqrt(2), rel=0.05)
    assert not found.is_bound


def test_white_noise_alone_gives_a_floor_as_high_as_the_result_and_so_a_bound() -> None:
    found = thd_n(tone() + noise(0.05), INTERVAL_S, 1000.0)
    assert found.floor == pytest.approx(found.ratio, rel=0.05)
    assert found.is_bound


@pytest.mark.parametrize(("third", "bound"), [(0.0002, True), (0.01, False)])
def test_an_8_bit_record_cannot_show_little_distortion(
    third: float, bound: bool, tone_record: Callable[..., Capture], digitised: Callable[..., Trace]
) -> None:
    trace = digitised(30.0 * tone(1000.0, (3000.0, third)), 72.0, bits=8)
    found = thd_n(trace.values(), INTERVAL_S, 1000.0, step=trace.step)
    assert found.is_bound is bound
    assert found.at_most >= third


@pytest.mark.parametrize("seed", range(12))
def test_thd_near_the_floor_is_a_bound_that_holds_or_a_value_within_its_u(
    seed: int, digitised: Callable[..., Trace]
) -> None:
    third = 10 ** np.random.default_rng(seed).uniform(-5, -3)
    trace = digitised(30.0 * tone(1000.0, (3000.0, third)), 72.0, bits=12)
    found = thd(trace.values(), INTERVAL_S, 1000.0, step=trace.step)
    if found.is_bound:
        assert found.at_most >= third
    else:
        assert abs(found.uncertain().nominal_value - third) < 2.0 * found.uncertain().std_dev


def test_three_times_the_floor_is_where_a_value_begins() -> None:
    assert Distortion(0.0299, 0.01).is_bound
    assert not Distortion(0.0301, 0.01).is_bound


def test_the_uncertainty_of_a_distortion_shrinks_with_its_floor() -> None:
    near, far = Distortion(0.01, 0.003).uncertain(), Distortion(0.01, 0.0003).uncertain()
    assert near.std_dev > 5 * far.std_dev > 0.0


def test_a_floor_that_is_spread_over_many_lines_shifts_a_distortion_little() -> None:
    # Of 2 n directions only the one in line with the distortion counts: floor / sqrt(2 n).
    spread = Distortion(0.01, 0.0003, lines=800.0).uncertain()
    assert spread.std_dev == pytest.approx(0.0003 / math.sqrt(1600.0), rel=0.05)


def test_the_power_of_the_floor_is_taken_off_a_distortion() -> None:
    assert Distortion(0.005, 0.003).uncertain().nominal_value == pytest.approx(0.004)


@pytest.mark.parametrize("seed", range(12))
def test_white_noise_leaves_the_distortion_within_its_uncertainty(seed: int) -> None:
    hiss = np.random.default_rng(seed).normal(0.0, 0.005, TIME_S.size)
    found = thd_n(tone(1000.0, (3000.0, 0.003)) + hiss, INTERVAL_S, 1000.0).uncertain()
    assert abs(found.nominal_value - 0.003) < 3.0 * found.std_dev
    assert found.std_dev < 5e-5


def test_a_distortion_of_nothing_has_no_uncertainty() -> None:
    with pytest.raises(MeasurementError):
        Distortion(0.0, 0.0).uncertain()


def test_the_true_rms_of_a_tone_holds_all_of_it() -> None:
    record = tone(1000.0, (3000.0, 0.5)) + 0.25
    assert tone_spectrum(record, INTERVAL_S, 1000.0).rms == pytest.approx(math.sqrt(0.5 + 0.125 + 0.0625))


def largest_prime_factor(number: int) -> int:
    factor = 2
    while factor * factor <= number:
        if number % factor:
            factor += 1
        else:
            number //= factor
    return number


# A generator is some parts in a million off, so a million samples are not a whole number of cycles.
@pytest.mark.parametrize("off_ppm", [-83.0, -21.0, 4.0, 67.0])
def test_a_spectrum_is_taken_of_whole_cycles_whose_number_of_samples_has_small_factors(off_ppm: float) -> None:
    """The work of an FFT goes with the sum of the prime factors of its length (Cooley and Tukey, 1965)."""
    frequency_hz = 1000.0 * (1.0 + off_ppm * 1e-6)
    times_s = np.arange(1_000_000) * INTERVAL_S
    record = np.sin(2.0 * np.pi * frequency_hz * times_s) + 0.01 * np.cos(6.0 * np.pi * frequency_hz * times_s)
    found = tone_spectrum(record, INTERVAL_S, 1000.0)
    samples = found.residual.size
    cycles = samples * INTERVAL_S * frequency_hz
    assert samples >= 0.979 * record.size
    assert abs(cycles - round(cycles)) <= 0.5 * INTERVAL_S * frequency_hz + 1e-9
    assert largest_prime_factor(samples) < 1000, "of a number of this size it is some hundred thousand as a rule"
    assert harmonic_distortion(found).ratio == pytest.approx(0.01, rel=1e-4)


@pytest.mark.parametrize(("frequency_hz", "samples"), [(20.0, 1_000_003), (39.0, 97_502), (30.0, 499_979)])
def test_few_long_cycles_may_be_two_samples_off(frequency_hz: float, samples: int) -> None:
    """No cycle can be spared, and the number of their samples has one large factor; the third harmonic stays 1 %."""
    assert largest_prime_factor(samples) > 1000
    cycles = round(frequency_hz)
    off_hz = cycles / (samples * INTERVAL_S)
    turns = 2.0 * np.pi * off_hz * np.arange(samples + 2) * INTERVAL_S
    found = tone_spectrum(np.sin(turns) + 0.01 * np.cos(3.0 * turns), INTERVAL_S, off_hz)
    assert abs(found.residual.size - samples) <= 2
    assert largest_prime_factor(found.residual.size) < 1000
    assert harmonic_distortion(found).ratio == pytest.approx(0.01, rel=5e-5)


def test_fewer_than_two_cycles_are_refused() -> None:
    with pytest.raises(RecordTooShort, match="two are needed"):
        thd_n(tone()[:1900], INTERVAL_S, 1000.0)


def test_a_band_beyond_half_the_sample_rate_is_refused() -> None:
    with pytest.raises(SampledTooSlowly):
        thd_n(tone()[::32], 32 * INTERVAL_S, 1000.0)


def test_a_tone_without_a_harmonic_in_the_band_has_no_thd() -> None:
    with pytest.raises(MeasurementError, match="no harmonic"):
        thd(tone(15e3), INTERVAL_S, 15e3)


@pytest.mark.parametrize(
    ("frequency_hz", "highest"), [(1000.0, 20), (1000.05, 20), (997.0, 20), (1003.0, 19), (50.0, 400), (10e3, 2)]
)
def test_the_highest_harmonic_is_the_last_within_the_band(frequency_hz: float, highest: int) -> None:
    assert highest_harmonic(frequency_hz, 20e3, INTERVAL_S) == highest


def test_the_flat_tops_of_a_clipped_tone_in_eight_bits_are_within_the_uncertainty_of_its_distortion() -> None:
    """Against the same tone without steps and noise; with little noise the tops stand still between two steps."""
    chance = np.random.default_rng(20)
    interval_s, errors = 1e-6, list[float]()
    for noise in (0.25, 0.4):
        for _ in range(30):
            seconds = np.arange(50_000) * interval_s
            sine = np.sin(2 * np.pi * 1000.01 * seconds + chance.uniform(0, 2 * np.pi))
            exact = chance.uniform(40, 110) * np.clip(sine, -0.975, 0.975) + chance.uniform(-0.5, 0.5)
            coded = np.round(exact + noise * chance.standard_normal(exact.size))
            found = harmonic_distortion(tone_spectrum(coded, interval_s, 1000.0, step=1.0)).uncertain()
            true = harmonic_distortion(tone_spectrum(exact, interval_s, 1000.0)).ratio
            errors.append((found.nominal_value - true) / found.std_dev)
    assert np.mean(np.abs(errors) < 2.0) >= 0.9


def test_a_carrier_that_moves_flat_tops_over_several_steps_leaves_little_of_their_rounding() -> None:
    """As above, with half a step of a carrier and noise of a fifth of one: errors spread about as wide as stated, and
    that is less than half as wide as without the carrier (J0 of 3.5 is 0.38)."""
    chance = np.random.default_rng(21)
    scores, widths = list[float](), list[float]()
    seconds = np.arange(50_000) * 1e-6
    for number in range(40):
        sine = np.sin(2 * np.pi * 1000.01 * seconds + chance.uniform(0, 2 * np.pi))
        exact = chance.uniform(85, 105) * np.clip(sine, -0.975, 0.975) + chance.uniform(-0.5, 0.5)
        carrier = 0.55 * np.sin(2 * np.pi * 113.3e3 * seconds) if number % 2 else 0.0
        coded = np.round(exact + carrier + 0.2 * chance.standard_normal(exact.size))
        found = harmonic_distortion(tone_spectrum(coded, 1e-6, 1000.0, step=1.0)).uncertain()
        widths.append(found.std_dev)
        if number % 2:
            true = harmonic_distortion(tone_spectrum(exact, 1e-6, 1000.0)).ratio
            scores.append((found.nominal_value - true) / found.std_dev)
    assert 0.6 < np.std(scores) < 1.4
    assert np.mean(widths[1::2]) < 0.5 * np.mean(widths[::2])


@pytest.mark.parametrize(("noise_steps", "clipping"), [(0.02, 1.1), (0.2, 1.5), (0.5, 1.1)])
def test_flat_tops_on_a_quiet_converter_are_within_the_uncertainty_anywhere_between_two_steps(
    noise_steps: float, clipping: float
) -> None:
    """Hard-clipped tones of any phase and peak, on any offset. Their distortion is that of the clipped sine by its
    Fourier series, here by a transform of one cycle. Of thirty draws 28.5 are expected inside, and fewer than 26 once
    in fifty (binomial)."""
    step, samples = 2.0 / 256, 10_000
    times_s = np.arange(samples) / 500e3
    inside = 0
    for seed in range(30):
        rng = np.random.default_rng(seed)
        peak = rng.uniform(0.5, 0.8)
        cycle = np.clip(clipping * peak * np.sin(2.0 * np.pi * np.arange(4096) / 4096), -peak, peak)
        lines = np.abs(np.fft.rfft(cycle))
        true = math.sqrt(float(np.sum(lines[2:11] ** 2))) / float(lines[1])
        angle = 2.0 * np.pi * 1000.0 * times_s + rng.uniform(0.0, 2.0 * np.pi)
        values = np.clip(clipping * peak * np.sin(angle), -peak, peak) + rng.uniform(-0.5, 0.5) * step
        values = np.round((values + rng.normal(0.0, noise_steps * step, samples)) / step) * step
        told = thd(values, 1.0 / 500e3, 1000.0, step=step).uncertain()
        inside += abs(told.nominal_value - true) < 2.0 * told.std_dev
    assert inside >= 26
