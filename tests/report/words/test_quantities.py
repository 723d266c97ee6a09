"""Values as people read them; the expected texts are worked out by hand from value and uncertainty."""

from __future__ import annotations

import pytest

from benchctl.documents.model.figures import FIGURES, figure_in_words
from benchctl.measure.budget.figure import Figure
from benchctl.report.words.names import length_for, listed
from benchctl.report.words.quantities import as_part, in_one_unit, said, setting, stated, with_uncertainty

SAID = [
    (Figure("continuous_power", 158.89, "W", 2.6), "159 W"),
    (Figure("continuous_power", 43.3, "W", 12.0), "43 W"),
    (Figure("continuous_power", 999.7, "W", 0.5), "999.7 W"),
    (Figure("continuous_power", 1512.4, "W", 25.0), "1510 W"),
    (Figure("continuous_power", 0.0251, "W", 0.0004), "25.1 mW"),
    (Figure("output_noise", 85.8e-6, "V", 0.31e-6), "85.8 µV"),
    (Figure("dc_offset", -8.995e-3, "V", 0.083e-3), "-9.00 mV"),
    (Figure("dc_offset", 0.0002, "V", 0.0009), "200 µV"),
    (Figure("dc_offset", 0.99996, "V"), "1.000 V"),
    (Figure("idle_current", 1.7013, "A", 0.0696), "1.70 A"),
    (Figure("upper_band_edge", 48123.0, "Hz", 300.0), "48.1 kHz"),
    (Figure("heatsink_temperature", 86.23, "degC", 2.4), "86 °C"),
    (Figure("soak_time", 300.0, "s"), "5.00 min"),
    (Figure("slew_rate", 2.31e7, "V/s", 3e5), "23.1 V/µs"),
    (Figure("thd_n", 0.000502, "1", bound="at most"), "at most 0.0502 %"),
    (Figure("efficiency", 0.60895, "1", 0.0093), "60.9 %"),
    (Figure("gain", 31.6228, "1", 1.0), "30.0 dB"),
    (Figure("polarity", -1.0, ""), "-1.00"),
]


@pytest.mark.parametrize(("figure", "text"), SAID, ids=[text for _, text in SAID])
def test_a_value_has_a_prefix_and_the_digits_that_its_uncertainty_supports(figure: Figure, text: str) -> None:
    assert said(figure) == text


def test_a_bound_never_claims_more_than_was_seen() -> None:
    assert said(Figure("continuous_power", 140.98, "W", bound="at least")) == "at least 140 W"
    assert said(Figure("output_noise", 85.81e-6, "V", bound="at most")) == "at most 85.9 µV"
    assert as_part(140.98, 150.0, "at least") == "at least 93 %"
    assert as_part(158.89, 150.0) == "106 %"


def test_less_than_the_rating_is_never_said_to_be_all_of_it() -> None:
    assert [as_part(value, 150.0) for value in (149.6, 149.999, 150.0, 150.2)] == ["99.7 %", "99.9 %", "100 %", "100 %"]
    assert as_part(149.6, 150.0, "at most") == "at most 100 %"


def test_in_a_table_values_of_one_row_share_their_unit_and_keep_two_digits_of_uncertainty() -> None:
    noise = [Figure("output_noise", 1.2e-3, "V", 0.04e-3), Figure("output_noise", 85.8e-6, "V", 0.31e-6)]
    assert in_one_unit(noise) == (["1.200 ± 0.040", "0.08580 ± 0.00031"], "mV")
    assert with_uncertainty(Figure("continuous_power", 159.5, "W", 2.6)) == "159.5 ± 2.6 W"
    assert with_uncertainty(Figure("idle_current", 0.5613, "A", 0.2306)) == "560 ± 230 mA"
    assert with_uncertainty(Figure("continuous_power", 140.98, "W", bound="at least")) == "≥ 140 W"


def test_what_was_set_or_asked_is_said_as_it_was() -> None:
    told = [(4.0, "ohm"), (1000.0, "Hz"), (14.4, "V"), (300.0, "s"), (0.01, "1"), (85.0, "degC"), (3600.0, "s")]
    assert [setting(*each) for each in told] == ["4 ohm", "1 kHz", "14.4 V", "5 min", "1 %", "85 °C", "60 min"]
    assert stated(Figure("crosstalk", 0.001, "1")) == "-60 dB"


def test_every_figure_has_words_without_underscores_and_no_two_have_the_same() -> None:
    words = [figure_in_words(name) for name in FIGURES]
    assert not [each for each in words if "_" in each]
    assert len(set(words)) == len(words)
    assert figure_in_words("continuous_power") == "continuous power"
    assert figure_in_words("something_new") == "something new"


def test_lists_and_counts_read_as_sentences() -> None:
    assert [listed(["A"]), listed(["A", "B"]), listed(["A", "B", "C"])] == ["A", "A and B", "A, B and C"]
    assert [length_for(1), length_for(8), length_for(20)] == ["one cycle", "eight cycles", "20 cycles"]
