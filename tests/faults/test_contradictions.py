"""The short form of `python -m benchmarks.contradictions`: one instrument is wrong by a factor, and no verdict depends
on it."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks.contradictions.trial import Case, cases, trial

UNDER_LOAD = "supply: current x 0.5 under load only"


# What the same comparison finds as it finds another factor.
LIKE_OTHERS = (
    "oscilloscope: output A x 2",
    "generator: level x 0.5",
    "supply: voltage x -1",
    "thermometer: heatsink x -1",
)


def is_short(case: Case) -> bool:
    """The second output is like the first, and a factor of ten is found where a factor of two is. The clamp and the
    probe at the supply are the other side of the same comparisons as the supply's own readings: of them twice too much
    and nothing at all are enough."""
    if case.name.startswith("oscilloscope: supply"):
        return case.name.endswith(("x 2", "x 0"))
    left_out = (UNDER_LOAD, *LIKE_OTHERS)
    return "output B" not in case.name and "x 10" not in case.name and case.name not in left_out


SHORT_FORM = [case for case in cases() if is_short(case)]


@pytest.mark.parametrize("case", SHORT_FORM, ids=lambda case: case.name)
def test_an_instrument_that_is_wrong_gives_no_figure_its_verdict(tmp_path: Path, case: Case) -> None:
    """The run stops before full power if the error is visible by then; and `verify` agrees."""
    ended = trial(case, tmp_path)
    assert list(ended.violations()) == []


def test_what_a_run_says_names_both_sides_and_what_to_look_at(tmp_path: Path) -> None:
    """Two supplies in parallel, of which one tells only its own half."""
    (half,) = (case for case in cases() if case.name == UNDER_LOAD)
    ended = trial(half, tmp_path)
    assert list(ended.violations()) == []
    assert ended.exit_code == 1
    for words in ("the supply reads 18", "the clamp shows 36", "second unit in parallel", "the clamp's ratio"):
        assert words in ended.said
