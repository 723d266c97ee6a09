"""Lines of a noise spectrum: their level, their frequency, and names that say no more than was measured."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pytest

from benchctl.measure.noise.lines import Line, lines_of, mains_hz, multiple_in_words, multiple_of, seen_there
from benchctl.measure.noise.spectrum import NoiseSpectrum, noise_spectrum

RATE_HZ = 100e3


def spectrum_of(tones: Mapping[float, float], noise_v: float = 1e-3, span_s: float = 2.0) -> NoiseSpectrum:
    """White noise up to half the sample rate, and tones: frequency -> V RMS."""
    times_s = np.arange(round(span_s * RATE_HZ)) / RATE_HZ
    record = np.random.default_rng(9).normal(0.0, noise_v, times_s.size)
    for frequency_hz, rms_v in tones.items():
        record += rms_v * math.sqrt(2.0) * np.sin(2.0 * np.pi * frequency_hz * times_s + frequency_hz)
    return noise_spectrum(record, 1.0 / RATE_HZ)


def names_of(tones: Mapping[float, float]) -> list[str]:
    """Of the lines, by frequency."""
    spectrum = spectrum_of(tones)
    lines = lines_of(spectrum)
    mains = mains_hz(lines, spectrum.line_hz)
    rising = sorted(lines, key=lambda line: line.frequency_hz)
    multiples = [multiple_of(line, mains, spectrum.line_hz) for line in rising]
    return ["" if multiple is None else multiple_in_words(multiple) for multiple in multiples]


def test_each_tone_is_one_line_with_its_level_the_strongest_first() -> None:
    lines = lines_of(spectrum_of({59.97: 2e-3, 120.0: 1e-3, 17_321.0: 5e-4}))
    assert [line.frequency_hz for line in lines] == pytest.approx([59.97, 120.0, 17_321.0], abs=0.5)
    assert [line.rms_v for line in lines] == pytest.approx([2e-3, 1e-3, 5e-4], rel=0.05)


def test_the_uncertainty_of_a_line_is_what_the_noise_at_its_place_does() -> None:
    """A sine of RMS r in noise of density N over a time T: u(r) = sqrt(N / T / 2) for r far above it, and under Hann's
    window sqrt(35/128) / (3/8) times as much."""
    line = lines_of(spectrum_of({1000.0: 2e-3}))[0]
    by_theory = math.sqrt(1e-6 / 50e3 / 2.0 / 2.0) * math.sqrt(35 / 128) / (3 / 8)
    assert line.square_u / (2.0 * line.rms_v) == pytest.approx(by_theory, rel=0.3)


def test_noise_alone_has_no_line() -> None:
    assert not lines_of(spectrum_of({}))


@pytest.mark.parametrize("frequency_hz", [59.97, 60.5, 61.0, 62.0])
def test_what_the_window_spreads_beside_a_line_is_no_line_of_its_own(frequency_hz: float) -> None:
    assert all(len(lines_of(spectrum_of({frequency_hz: level_v}))) == 1 for level_v in (2e-4, 5e-4, 2e-3, 1e-2))


def test_a_strong_line_between_two_places_makes_no_others_by_what_leaks() -> None:
    assert len(lines_of(spectrum_of({1002.0: 1.0}, noise_v=1e-5))) == 1


@pytest.mark.parametrize("mains", [49.8, 50.0, 50.3, 59.9, 60.0])
def test_mains_and_its_multiples_are_found_from_the_record(mains: float) -> None:
    tones = {mains: 1e-3, 2 * mains: 2e-3, 3 * mains: 4e-4, 1_234.0: 1e-3}
    assert names_of(tones) == ["mains frequency", "twice mains", "3 times mains", ""]


def test_a_tone_beside_a_multiple_of_mains_is_not_called_one() -> None:
    assert names_of({50.0: 1e-3, 110.0: 1e-3}) == ["mains frequency", ""]


def test_without_a_line_of_mains_nothing_is_called_after_it() -> None:
    """300 Hz is the sixth multiple of 50 Hz and the fifth of 60 Hz."""
    assert names_of({300.0: 1e-3}) == [""]


def test_what_another_record_may_have_of_a_line_is_told_whether_it_shows_or_not() -> None:
    with_line, without = spectrum_of({1000.0: 1e-3}, span_s=1.0), spectrum_of({}, span_s=1.0)
    line = Line(1000.0, 1e-6, 0.0)
    assert seen_there(line, with_line) == (pytest.approx(1e-3, rel=0.05), True)
    most_v, shows = seen_there(line, without)
    assert not shows
    assert 0.0 < most_v < 1e-4
