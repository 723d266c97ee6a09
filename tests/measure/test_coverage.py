"""The short form of `python -m benchmarks.coverage`: stated uncertainties are neither bluff nor padding."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks.coverage.campaign import Judged, judged_figures
from benchmarks.coverage.statistics import Coverage, coverage

SEEDS = range(1, 13)


@pytest.fixture(scope="module")
def judged(tmp_path_factory: pytest.TempPathFactory) -> list[Judged]:
    """Every figure of a dozen dry runs, each on a bench with errors of its own."""
    folder: Path = tmp_path_factory.mktemp("coverage")
    return [figure for seed in SEEDS for figure in judged_figures(seed, "workshop", "hx2150", folder)]


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
        assert found.covered > 0.75, found
        assert 0.4 < found.spread < 1.6, found
