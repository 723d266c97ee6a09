"""The short form of `python -m benchmarks.coverage`: stated uncertainties are neither bluff nor padding."""

from __future__ import annotations

from pathlib import Path

import pytest
from scipy import stats

from benchctl.documents.reader import load_amplifier
from benchmarks.coverage.campaign import PAIRS, Judged, judged_figures
from benchmarks.coverage.kept import Kept
from benchmarks.coverage.statistics import Coverage, coverage
from benchmarks.coverage.units import unit_of

# Inputs of the oscilloscope share their error of gain on benches with an even seed.
DRAWN = ((PAIRS[0], 1), (PAIRS[0], 2), (PAIRS[1], 1), (PAIRS[2], 2))


@pytest.fixture(scope="module")
def judged(tmp_path_factory: pytest.TempPathFactory) -> list[Judged]:
    """Every figure of four dry runs, each on a bench with errors of its own."""
    folder: Path = tmp_path_factory.mktemp("coverage")
    return [figure for pair, seed in DRAWN for figure in judged_figures(seed, pair, folder)]


@pytest.fixture(scope="module")
def overall(judged: list[Judged]) -> Coverage:
    return coverage("all", judged)


def test_every_kind_of_figure_has_a_known_truth(judged: list[Judged]) -> None:
    names = {figure.name for figure in judged}
    assert {"idle_current", "burst_power_clean", "droop_time_constant", "continuous_power", "efficiency"} <= names


def test_nearly_all_truths_lie_within_two_standard_uncertainties(overall: Coverage) -> None:
    assert overall.covered > 0.9


def test_errors_spread_about_as_wide_as_stated(overall: Coverage) -> None:
    assert abs(overall.mean) < 0.4
    assert 0.75 < overall.spread < 1.25


def test_no_kind_of_figure_bluffs_or_pads_grossly(judged: list[Judged]) -> None:
    for name in {figure.name for figure in judged}:
        found = coverage(name, [figure for figure in judged if figure.name == name])
        assert found.covered > 0.7, found
        assert found.bounds == found.figures or found.spread < 1.8, found


def test_units_of_one_type_are_unlike_at_rest_and_each_is_the_same_again() -> None:
    """So that they meet the steps of a display at different places."""
    sound = load_amplifier("kx240").simulation
    assert sound is not None
    assert sound.bias_current_a is not None
    units = [unit_of(load_amplifier("kx240"), seed).simulation for seed in (*range(30), 7)]
    factors = [unit.bias_current_a / sound.bias_current_a for unit in units if unit and unit.bias_current_a]
    assert all(0.75 <= factor <= 1.25 for factor in factors)
    assert sum(abs(factor - 1.0) > 0.1 for factor in factors) > 12
    assert units[7] == units[-1]
    assert units[7] != units[8]


def test_a_campaign_that_was_interrupted_goes_on_with_what_it_kept(judged: list[Judged], tmp_path: Path) -> None:
    for seed in (2, 1):
        Kept(tmp_path).add(PAIRS[0], seed, [figure for figure in judged[:5] if figure.seed == 1])
    assert Kept(tmp_path).seeds(PAIRS[0]) == {1, 2}
    assert Kept(tmp_path).seeds(PAIRS[1]) == set()
    assert len(Kept(tmp_path).of(PAIRS[0])) == 10


@pytest.mark.parametrize(
    ("scores", "mark"),
    [
        ([0.0, 1.4, -1.4, 0.7, -0.7] * 38 + [2.1, -2.1] * 5, ""),
        ([1.6, -1.6] * 100, "too narrow"),
        ([0.3, -0.3] * 100, "too wide"),
        ([1.0, -1.0] * 300, "no tails"),
    ],
)
def test_a_figure_is_marked_by_how_its_errors_spread(scores: list[float], mark: str) -> None:
    figures = [
        Judged(2 * number + alike, "idle", "idle_current", "", 1.0 + score, 1.0, 1.0)
        for number, score in enumerate(scores)
        for alike in (0, 1)
    ]
    assert coverage("idle_current", figures).mark == mark


def test_errors_are_judged_where_what_inputs_share_makes_them_larger() -> None:
    """On benches of odd seeds inputs share nothing. A figure whose errors are as stated on half of them is not too
    wide, and one whose U is a limit is only told as such."""
    scores = [1.0 if seed % 2 else 0.2 for seed in range(400)]
    figures = [
        Judged(seed, "burst", "efficiency", "", 1.0 + sign * score, 1.0, 1.0)
        for seed, score in enumerate(scores)
        for sign in (-1.0, 1.0)
    ]
    found = coverage("burst: efficiency", figures)
    assert (found.apart, found.alike, found.widest) == pytest.approx((1.0, 0.2, 1.0))
    assert coverage("burst: efficiency", [figure for figure in figures if figure.seed % 2 == 0]).mark == "too wide"
    assert coverage("burst: droop", [figure for figure in figures if figure.seed % 2 == 0]).mark == "a limit"


def test_what_chance_leaves_open_of_the_covered_part_is_the_score_interval_of_the_benches() -> None:
    """95 of 100 benches, against scipy (Wilson)."""
    figures = [
        Judged(seed, "idle", "idle_current", channel, 1.0 + (3.0 if seed < 5 else 0.5), 1.0, 1.0)
        for seed in range(100)
        for channel in "AB"
    ]
    expected = stats.binomtest(95, 100).proportion_ci(confidence_level=0.99, method="wilson")
    assert coverage("idle_current", figures).interval == pytest.approx((expected.low, expected.high), abs=1e-4)
