"""Figures in words: rounded to what their uncertainty supports, in the unit that the trade says them in."""

from __future__ import annotations

import pytest

from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.words import burst_in_words, difference_in_words, value_in_words


@pytest.mark.parametrize(
    ("figure", "words"),
    [
        (Figure("continuous_power", 159.04, "W", 3.75, 2.0), "159.0 ± 3.8"),
        (Figure("continuous_power", 159.04, "W", 13.4, 2.0), "159 ± 13"),
        (Figure("efficiency", 0.6021, "1", 0.0107, 2.0), "60.2 ± 1.1"),
        (Figure("signal_to_noise_1w", 1e4, "1", 115.13, 2.0), "80.00 ± 0.10"),
        (Figure("damping_factor", 210.0, "1", 11.0, 2.0), "210 ± 11"),
        (Figure("crest_factor", 1.4142, "1", 0.0031, 2.0), "1.4142 ± 0.0031"),
        (Figure("thd_n", 0.00052, "1", bound="at most"), "≤ 0.052"),
        (Figure("output_peak", 38.6, "V", bound="at least"), "≥ 38.6"),
        (Figure("upper_band_edge", 40e3, "Hz", bound="at least"), "≥ 40000"),
        (Figure("burst_power_clean", 150.26, "W"), "150.3"),
    ],
)
def test_a_value_is_told_to_two_digits_of_its_uncertainty_or_as_the_bound_it_is(figure: Figure, words: str) -> None:
    assert value_in_words(figure) == words


def test_one_cycle_is_no_plural() -> None:
    assert [burst_in_words(cycles) for cycles in (1, 8)] == ["1 cycle", "8 cycles"]


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        (Figure("idle_current", 1.7, "A", 0.03, 2.0), Figure("idle_current", 2.2, "A", 0.04, 2.0), "+0.500 ± 0.050"),
        (Figure("efficiency", 0.60, "1", 0.03, 2.0), Figure("efficiency", 0.55, "1", 0.04, 2.0), "-5.0 ± 5.0"),
        (Figure("gain", 10.0, "1"), Figure("gain", 20.0, "1"), "+6.021"),
        (Figure("thd_n", 0.001, "1", bound="at most"), Figure("thd_n", 0.002, "1", 1e-5, 2.0), ""),
    ],
)
def test_a_difference_has_a_sign_and_the_root_of_the_squares_for_its_uncertainty(
    before: Figure, after: Figure, words: str
) -> None:
    """0.03 and 0.04 make 0.05; a ratio of two is 6.0206 dB."""
    assert difference_in_words(before, after) == words
