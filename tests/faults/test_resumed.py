"""The checks of the kill campaign on a resumed run, tested on a run that is then changed."""

from __future__ import annotations

import shutil
from pathlib import Path

import pandas as pd
import pytest

from benchctl.archive.folder import RunFolder
from benchmarks.kill_campaign.resumed import problems_of
from tests.shared_runs import SharedRuns


@pytest.fixture(scope="module")
def undisturbed(shared_runs: SharedRuns) -> RunFolder:
    return RunFolder.open(shared_runs.of("quick_check", "hx2150").folder)


def faults_where(undisturbed: RunFolder, out: Path, figure: str, factor: float) -> list[str]:
    """What is found when one figure of the continuous tone is multiplied by a factor; 0 removes it."""
    shutil.copytree(undisturbed.path, out / "run")
    resumed = RunFolder.open(out / "run")
    table = pd.read_csv(resumed.figures)
    chosen = (table["step"] == "6 measure_continuous") & (table["figure"] == figure) & (table["channel"] == "A")
    assert chosen.sum() == 1
    table.loc[chosen, "value"] *= factor
    (table if factor else table[~chosen]).to_csv(resumed.figures, index=False)
    return list(problems_of(resumed, undisturbed.journal.read_bytes(), undisturbed))


@pytest.mark.parametrize(
    ("figure", "factor"),
    [
        ("continuous_power", 1.0),
        ("continuous_power", 1.01),  # within 1.6 % of uncertainty
        ("thd_n", 0.7),  # as clean as the search asks for
        ("crest_factor", 1.002),  # within the search's twentieth of a decibel, 0.6 %
    ],
)
def test_what_a_resumed_run_may_find_otherwise(
    undisturbed: RunFolder, tmp_path: Path, figure: str, factor: float
) -> None:
    assert faults_where(undisturbed, tmp_path, figure, factor) == []


@pytest.mark.parametrize(
    ("figure", "factor", "words"),
    [
        ("continuous_power", 1.05, "undisturbed 159."),
        ("thd_n", 1.3, "searched for at most 0.01"),
        ("crest_factor", 1.02, "undisturbed 1.38"),
        ("continuous_power", 0.0, "was in the journal and is not in figures.csv"),
    ],
)
def test_what_it_may_not(undisturbed: RunFolder, tmp_path: Path, figure: str, factor: float, words: str) -> None:
    faults = faults_where(undisturbed, tmp_path, figure, factor)
    assert any(words in fault and figure in fault for fault in faults), faults
