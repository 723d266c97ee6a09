"""Mistakes that a person makes when writing a driver file are found by an exercise, and their lines are named."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks.exercise.mistakes import Mistake, every
from benchmarks.exercise.trial import trial

MISTAKES = tuple(every())


def test_thirty_mistakes_and_more_are_planted_in_every_role() -> None:
    assert sum(not each.unseen for each in MISTAKES) >= 30
    assert {each.role for each in MISTAKES} >= {"generator", "oscilloscope", "load", "supply", "thermometer"}


@pytest.mark.parametrize("mistake", MISTAKES, ids=lambda each: each.name)
def test_a_mistake_is_found_at_its_line_or_the_list_says_why_not(mistake: Mistake, tmp_path: Path) -> None:
    """Where it cannot be found, no other word is blamed instead."""
    done = trial(mistake, tmp_path)
    assert done.is_as_promised, (sorted(done.lines), done.told)
