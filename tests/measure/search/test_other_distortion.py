"""Distortion that falls again as the level rises is not clipping: the search goes on, and not far beyond clipping.

The amplifiers here clip hard at 1 V, in closed form (as in the table of `tests/standards/test_std_clipping.py`), and
have noise, or more distortion in a stretch of their levels.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import pytest

from benchctl.measure.search.clean_level import CleanLevelSearch
from benchctl.measure.search.knowledge import Knowledge
from benchctl.measure.search.outcome import AlreadyPassed, Found, NeverClean, NeverReached, SameAtEveryLevel
from benchctl.measure.search.tried_level import TriedLevel

BOUND = 0.01
# Where a hard clipper has 1 % of harmonics: 0.2513 dB above the onset (closed form).
CLEAN_DB = 0.251261


def ratio(db: float) -> float:
    return float(10.0 ** (db / 20.0))


def db(value: float) -> float:
    return 20.0 * math.log10(value)


@dataclass
class Amplifier:
    """Clips hard at `clips_v`; `hump`: distortion, level, width in dB; `noise_v`: at the input."""

    clips_v: float = 1.0
    hump: tuple[float, float, float] = (0.0, 1.0, 1.0)
    noise_v: float = 0.0
    residue: float = 0.0002
    tells_gain: bool = True
    class_a_v: float = math.inf
    dead_zone_v: float = 0.0

    @property
    def clean_v(self) -> float:
        return self.clips_v * ratio(CLEAN_DB)

    def of_hump(self, level_v: float) -> float:
        height, at_v, width_db = self.hump
        return height * math.exp(-((db(level_v / at_v) / width_db) ** 2))

    def loss(self, level_v: float) -> float:
        """Of the fundamental, where class A ends: 4 d/(pi A) of a dead zone d, as of a square wave taken away."""
        beyond = max(1.0 - self.class_a_v / level_v, 0.0) if level_v > self.class_a_v else 0.0
        return 4.0 / math.pi * self.dead_zone_v / (math.sqrt(2.0) * level_v) * min(4.0 * beyond, 1.0)

    def answer(self, search: CleanLevelSearch, level_v: float) -> None:
        clip = min(self.clips_v / level_v, 1.0)
        angle = math.asin(clip)
        fundamental = 2.0 / math.pi * (angle + math.sin(2.0 * angle) / 2.0)
        square = 2.0 / math.pi * (angle / 2.0 - math.sin(2.0 * angle) / 4.0 + clip**2 * (math.pi / 2.0 - angle))
        harmonics = math.sqrt(max(2.0 * square - fundamental**2, 0.0)) / fundamental
        # The harmonics of a square wave are 0.483 of its fundamental in all: sqrt(pi^2/8 - 1).
        crossover = math.sqrt(math.pi**2 / 8.0 - 1.0) * self.loss(level_v)
        parts = (harmonics, self.of_hump(level_v), self.noise_v / level_v, self.residue, crossover)
        gains = {"A": fundamental - self.loss(level_v)} if self.tells_gain else {}
        search.answer(level_v, math.hypot(*parts), channel="A", gains=gains)


def searched(
    amplifier: Amplifier, *, plate_v: float | None = None, start_v: float = 0.0125, highest_v: float = 4.0
) -> tuple[CleanLevelSearch, list[float]]:
    search = CleanLevelSearch(BOUND, start_v, highest_v, expected_level_v=plate_v)
    tried_v: list[float] = []
    while (level_v := search.propose()) is not None:
        tried_v.append(level_v)
        amplifier.answer(search, level_v)
    return search, tried_v


HUMPS = {
    "3 % at 0.05": (0.03, 0.05, 3.0),
    "a narrow bump at a fifth of the level": (0.03, 0.2, 1.0),
    "a broad one of 6 %": (0.06, 0.1, 8.0),
    "one that fills the step up to clipping": (0.04, 0.5, 2.0),
    "one at the start": (0.05, 0.0125, 4.0),
    "one whose top lies above the start": (0.05, 0.03, 5.0),
}


@pytest.mark.parametrize("plate_v", [None, 0.97, 0.6])
@pytest.mark.parametrize("name", HUMPS)
def test_a_hump_of_distortion_below_clipping_does_not_end_the_search(name: str, plate_v: float | None) -> None:
    amplifier = Amplifier(hump=HUMPS[name])
    search, _ = searched(amplifier, plate_v=plate_v)
    assert isinstance(search.outcome, Found)
    assert -0.05 <= db(search.outcome.level_v / amplifier.clean_v) <= 0.0
    assert search.outcome.crossing_v == pytest.approx(amplifier.clean_v, rel=1e-3)


@pytest.mark.parametrize("name", HUMPS)
def test_a_hump_leads_no_farther_beyond_clipping_than_a_plain_search(name: str) -> None:
    """The step above the highest level that does not clip is the rule for both."""
    amplifier = Amplifier(hump=HUMPS[name])
    for plate_v in (None, 0.97):
        _, tried_v = searched(amplifier, plate_v=plate_v)
        assert max(tried_v) <= ratio(1.5 if plate_v else 6.02)


@pytest.mark.parametrize("at_v", [0.03, 0.1, 0.17, 0.35, 0.5])
def test_an_amplifier_that_clips_far_below_its_plate_is_found_to_clip_there(at_v: float) -> None:
    amplifier = Amplifier(clips_v=at_v)
    search, tried_v = searched(amplifier, plate_v=1.0)
    assert isinstance(search.outcome, Found)
    assert search.outcome.is_confirmed
    assert -0.05 <= db(search.outcome.level_v / amplifier.clean_v) <= 0.0
    assert max(tried_v) <= at_v * ratio(6.02)


@pytest.mark.parametrize("noise_v", [0.012, 0.03, 0.1])
def test_noise_above_the_bound_up_to_clipping_is_told_as_that(noise_v: float) -> None:
    """At the input of an amplifier that clips at 0.8 V; 12 mV are 1.5 % there."""
    amplifier = Amplifier(clips_v=0.8, noise_v=noise_v)
    search, tried_v = searched(amplifier, plate_v=0.775, start_v=0.01, highest_v=2.0)
    assert isinstance(search.outcome, NeverClean)
    assert search.outcome.distortion >= noise_v / 0.8 * 0.9
    assert max(tried_v) <= 0.8 * ratio(2.0), "not four decibels beyond clipping"


@pytest.mark.parametrize("start_v", [0.01, 0.011, 0.013, 0.016, 0.019])
def test_the_clean_window_between_noise_and_clipping_is_found(start_v: float) -> None:
    """Noise falls to the bound 1.9 dB below the onset of clipping, and steps are of 6 dB."""
    amplifier = Amplifier(clips_v=1.0, noise_v=0.008)
    search, _ = searched(amplifier, plate_v=None, start_v=start_v)
    assert isinstance(search.outcome, Found)
    assert -0.2 <= db(search.outcome.crossing_v / amplifier.clean_v) <= 0.0


def test_what_exceeds_the_bound_below_the_result_is_other_than_clipping() -> None:
    search, _ = searched(Amplifier(hump=HUMPS["3 % at 0.05"]), plate_v=0.97)
    others = [level.level_v for level in search.known.levels if search.known.says(level) == "other"]
    assert others
    assert all(0.03 < level_v < 0.08 for level_v in others)


@pytest.mark.parametrize("above_db", [0.5, 3.0, 12.0])
def test_a_start_that_clips_is_still_told_as_passed(above_db: float) -> None:
    amplifier = Amplifier()
    search, tried_v = searched(amplifier, plate_v=1.0, start_v=amplifier.clean_v * ratio(above_db), highest_v=10.0)
    assert isinstance(search.outcome, AlreadyPassed)
    assert max(tried_v) == pytest.approx(amplifier.clean_v * ratio(above_db))


def test_the_same_distortion_at_every_level_is_no_reason_to_drive_on() -> None:
    """A half that is dead distorts alike at all levels."""
    search = CleanLevelSearch(BOUND, 0.1, 2.0)
    search.answer(search.propose() or 0.0, 0.3)
    search.answer(search.propose() or 0.0, 0.3)
    assert isinstance(search.outcome, AlreadyPassed)


def test_a_hump_up_to_the_top_of_the_search_leaves_the_highest_clean_level() -> None:
    search, _ = searched(Amplifier(clips_v=50.0, hump=(0.05, 2.0, 6.0)), plate_v=40.0)
    assert isinstance(search.outcome, NeverReached)
    assert search.outcome.level_v < 4.0


# Overdrive in dB at which a hard clipper distorts so much (solved from the closed form by bisection, elsewhere).
SOLVED_DB = {0.001: 0.036677, 0.005: 0.139248, 0.01: 0.251261, 0.03: 0.665677, 0.1: 2.173141}


@pytest.mark.parametrize("bound", SOLVED_DB)
def test_the_crossing_is_interpolated_to_a_twentyfifth_of_the_resolution(bound: float) -> None:
    amplifier = Amplifier(residue=1e-7)
    search = CleanLevelSearch(bound, 0.02, 4.0)
    while (level_v := search.propose()) is not None:
        amplifier.answer(search, level_v)
    assert isinstance(search.outcome, Found)
    solved_db = SOLVED_DB[bound]
    assert db(search.outcome.crossing_v) == pytest.approx(solved_db, abs=0.002)
    assert search.outcome.crossing_u < 0.001


def test_levels_too_low_to_be_seen_are_passed_up_to_a_hundredth_of_rated_power() -> None:
    amplifier = Amplifier()
    search = CleanLevelSearch(BOUND, 0.01, 4.0, expected_level_v=1.0)
    while (level_v := search.propose()) is not None:
        if level_v < 0.05:
            assert search.answer_unseen(level_v)
        else:
            amplifier.answer(search, level_v)
    assert isinstance(search.outcome, Found)
    assert search.outcome.crossing_v == pytest.approx(amplifier.clean_v, rel=1e-3)


@pytest.mark.parametrize("dead_zone_v", [0.0025, 0.004, 0.006, 0.01])
@pytest.mark.parametrize("class_a_v", [0.03, 0.0413, 0.06])
def test_crossover_distortion_that_begins_where_class_a_ends_and_takes_gain_is_no_clipping(
    dead_zone_v: float, class_a_v: float
) -> None:
    amplifier = Amplifier(class_a_v=class_a_v, dead_zone_v=dead_zone_v)
    search, _ = searched(amplifier, plate_v=0.97)
    assert isinstance(search.outcome, Found)
    # What is left of the crossover distortion counts too.
    assert -0.25 <= db(search.outcome.crossing_v / amplifier.clean_v) <= 0.0


@pytest.mark.parametrize("noise_v", [0.0, 2e-4, 2e-3])
def test_distortion_that_does_not_depend_on_the_level_is_not_called_clipping(noise_v: float) -> None:
    search, tried_v = searched(Amplifier(residue=0.07, noise_v=noise_v), plate_v=1.0)
    assert isinstance(search.outcome, SameAtEveryLevel)
    assert search.outcome.distortion == pytest.approx(0.07, rel=0.1)
    assert max(tried_v) < 1.0, "nothing is driven to clipping for it"


def test_a_square_wave_that_hardly_distorts_more_is_not_taken_for_distortion_alike_at_every_level() -> None:
    """The gain gives way as the level rises, as clipping has it."""
    distortions = {0.1: 0.43, 0.2: 0.45, 0.4: 0.46}
    tried = [TriedLevel(v, distortion, channel="A", gains={"A": 1.0 / v}) for v, distortion in distortions.items()]
    assert not Knowledge(tried, BOUND).is_same_at_every_level
    steady = [TriedLevel(v, distortion, channel="A", gains={"A": 1.0}) for v, distortion in distortions.items()]
    assert Knowledge(steady, BOUND).is_same_at_every_level


def test_distortion_that_scatters_by_a_decibel_at_low_levels_is_still_alike_at_every_level() -> None:
    distortions = {0.007: 0.062, 0.010: 0.065, 0.0126: 0.070, 0.02: 0.065, 0.034: 0.066}
    tried = [TriedLevel(v, distortion, channel="A", gains={"A": 1.0}) for v, distortion in distortions.items()]
    assert Knowledge(tried, BOUND).is_same_at_every_level


def test_distortion_that_falls_is_no_clipping_where_gain_was_lost_below_and_clipping_begins_above() -> None:
    """Nearly a decibel is lost where class A ends, and more above."""
    tried = [
        TriedLevel(0.04, 0.002, channel="A", gains={"A": 1.0}),
        TriedLevel(0.06, 0.05, channel="A", gains={"A": ratio(-0.8)}),
        TriedLevel(0.08, 0.03, channel="A", gains={"A": ratio(-2.0)}),
    ]
    known = Knowledge(tried, BOUND)
    assert [level.level_v for level in known.over] == [0.08]
    assert known.unclipped_db == pytest.approx(db(0.06))


def test_an_amplifier_that_is_silent_is_not_driven_beyond_a_hundredth_of_rated_power() -> None:
    search = CleanLevelSearch(BOUND, 0.01, 4.0, expected_level_v=1.0)
    tried_v = []
    while (level_v := search.propose()) is not None:
        tried_v.append(level_v)
        if not search.answer_unseen(level_v):
            break
    assert max(tried_v) <= 0.1 * ratio(6.02)
    assert search.outcome is None
