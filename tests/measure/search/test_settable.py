"""A search over the levels of a coarse generator ends between two neighbours, and never leaps."""

from __future__ import annotations

import math

import pytest

from benchctl.errors import MeasurementError
from benchctl.measure.search.clean_level import CleanLevelSearch
from benchctl.measure.search.outcome import Found, NeverReached
from benchctl.measure.search.settable import SettableLevels

BOUND, STEP_DB = 0.01, 6.0


def steps_of(step_v: float) -> SettableLevels:
    """Multiples of a step."""

    def around(level_v: float) -> tuple[float, float]:
        steps = round(level_v / step_v, 9)
        return math.floor(steps) * step_v, math.ceil(steps) * step_v

    return SettableLevels(around)


def distortion(level_v: float, clips_v: float) -> float:
    """A floor of 0.1 %, and clipping that reaches the bound at `clips_v`."""
    return 0.001 + 0.009 * (level_v / clips_v) ** 20


def tried(step_v: float, clips_v: float, highest_v: float = 2.0) -> tuple[CleanLevelSearch, list[float]]:
    search = CleanLevelSearch(BOUND, 0.1, highest_v, step_db=STEP_DB, settable=steps_of(step_v))
    levels_v: list[float] = []
    while (level_v := search.propose()) is not None:
        levels_v.append(level_v)
        assert len(levels_v) <= 25, "it ends"
        search.answer(level_v, distortion(level_v, clips_v))
    return search, levels_v


@pytest.mark.parametrize("step_v", [0.001, 0.0177, 0.05])
@pytest.mark.parametrize("clips_v", [0.23, 0.5001, 0.81, 1.7])
def test_it_finds_the_highest_level_that_is_clean(step_v: float, clips_v: float) -> None:
    search, levels_v = tried(step_v, clips_v)
    assert isinstance(search.outcome, Found)
    found_v = search.outcome.level_v
    assert distortion(found_v, clips_v) <= BOUND
    next_v = found_v + step_v
    is_finer = 20 * math.log10(next_v / found_v) < search.resolution_db
    assert is_finer or distortion(next_v, clips_v) > BOUND
    assert all(abs(level_v / step_v - round(level_v / step_v)) < 1e-6 for level_v in levels_v)


@pytest.mark.parametrize("step_v", [0.001, 0.0177, 0.05])
def test_no_level_lies_farther_above_a_clean_one_than_a_step_of_the_search(step_v: float) -> None:
    _, levels_v = tried(step_v, 0.81)
    for number, level_v in enumerate(levels_v[1:], start=1):
        clean_v = max(each for each in levels_v[:number] if distortion(each, 0.81) <= BOUND)
        assert 20 * math.log10(level_v / clean_v) <= STEP_DB + 0.05, "twice a level is 6.02 dB"


def test_the_highest_level_of_a_search_is_the_one_below_its_end_that_can_be_set() -> None:
    search, levels_v = tried(0.05, clips_v=9.0, highest_v=0.62)
    assert search.outcome == NeverReached(pytest.approx(0.6))
    assert max(levels_v) == pytest.approx(0.6)


def test_twice_a_level_is_a_step_of_6_db() -> None:
    search, levels_v = tried(0.1, clips_v=0.81)
    assert levels_v[:2] == pytest.approx([0.1, 0.2])
    assert isinstance(search.outcome, Found)
    assert search.outcome.level_v == pytest.approx(0.8)
    assert search.outcome.distortion == pytest.approx(distortion(0.8, 0.81))


def test_steps_that_double_the_level_are_too_coarse_where_the_search_begins() -> None:
    search = CleanLevelSearch(BOUND, 0.2, 2.0, step_db=2.0, settable=steps_of(0.2))
    assert search.propose() == pytest.approx(0.2)
    search.answer(0.2, 0.001)
    with pytest.raises(MeasurementError, match="the generator's next level is 400 mV"):
        search.propose()
