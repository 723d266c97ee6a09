"""Words have a short and a long form and nothing between."""

from __future__ import annotations

import pytest

from benchctl.scpi.mnemonics import check_spelling, forms_of, short_of, split_suffix


def test_both_forms_are_legal_and_no_other() -> None:
    """SCPI-99 volume 1, 6.2.1."""
    assert forms_of("VOLTage") == {"VOLT", "VOLTAGE"}
    assert forms_of("AUTO") == {"AUTO"}


def test_a_number_belongs_to_both_forms() -> None:
    """SCPI-99 volume 1, 6.2.5."""
    assert forms_of("CHANnel1") == {"CHAN1", "CHANNEL1"}
    assert short_of("CHANnel1") == "CHAN1"


@pytest.mark.parametrize("spelling", ["", "voltage", "VoltAge", "VOLTage:LEV", "1VOLT", "VOLT-A"])
def test_a_spelling_that_marks_no_short_form_is_refused(spelling: str) -> None:
    with pytest.raises(ValueError, match="short form"):
        check_spelling(spelling)


@pytest.mark.parametrize(
    ("word", "parts"),
    [("OUTP2", ("OUTP", 2)), ("OUTP", ("OUTP", None)), ("A1B22", ("A1B", 22)), ("X007", ("X", 7))],
)
def test_a_suffix_is_the_number_at_the_end(word: str, parts: tuple[str, int | None]) -> None:
    assert split_suffix(word) == parts
