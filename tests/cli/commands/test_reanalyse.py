"""benchctl reanalyse: what changed in many runs, in a table and in sentences; the exit code says what came of it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from benchctl.archive.folder import RunFolder
from benchctl.clock import VirtualClock
from benchctl.documents.model.criteria import Criterion
from benchctl.measure.method import METHOD
from tests.archive.made_runs import change_figure, held_against, made_by, measure_tone, two_tones
from tests.cli.conftest import Command

RESULTS = f"reanalysis/method-{METHOD}-version-"


@pytest.fixture
def runs(tmp_path: Path) -> Path:
    """Two runs, `one` and `other`, in a folder."""
    root, clock = tmp_path / "runs", VirtualClock()
    measure_tone(RunFolder.create(root, "a", "b", clock), clock, two_tones()).rename(root / "one")
    shutil.copytree(root / "one", root / "other")
    return root


def test_runs_that_come_out_as_written_give_exit_code_0_and_are_not_computed_twice(
    benchctl: Command, runs: Path
) -> None:
    (runs / "letters").mkdir()
    ended = benchctl("reanalyse", "runs", "--workers", "1")
    foreign, in_all, where = ended.out.splitlines()
    assert ended.exit_code == 0
    assert foreign.endswith("runs/letters: is not a run folder: it holds no journal.jsonl")
    assert in_all.startswith("2 runs. ")
    assert in_all.endswith("figures: 0 changed, 0 verdicts turned.")
    assert f"{Path.cwd()}/{RESULTS}" in where
    again = benchctl("reanalyse", "runs/other", "--workers", "1", "--json")
    assert (again.data["runs"], again.data["as_before"]) == (1, 1)


def test_a_turned_verdict_gives_exit_code_1_and_is_told_with_what_changed(benchctl: Command, runs: Path) -> None:
    made_by(runs / "one", METHOD - 1)
    change_figure(runs / "one", "continuous_power", value=2000.0)
    held_against(runs / "one", {"continuous_power": Criterion(relation="above", bound=1000.0, unit="W")}, "passes")
    ended = benchctl("reanalyse", "runs", "--workers", "1")
    assert ended.exit_code == 1
    assert "one, step '1 measure_continuous': continuous_power of A: passes -> fails" in ended.out
    assert f"changed with method {METHOD}: k follows the distribution of all errors" in ended.out
    (cells,) = [line.split("│") for line in ended.out.splitlines() if "continuous_power" in line and "│" in line]
    assert [cell.strip() for cell in cells[1:4]] == ["continuous_power", "1", "2"]


def test_a_change_that_the_method_does_not_explain_is_said_to_be_unexplained(benchctl: Command, runs: Path) -> None:
    change_figure(runs / "one", "continuous_power", expanded_uncertainty=0.5)
    ended = benchctl("reanalyse", "runs", "--workers", "1")
    assert ended.exit_code == 0, "a value that changed is a result"
    assert "1 of the figures changed, and no change of the method is on record for it" in ended.out
    assert "U alone" in ended.out


def test_a_run_that_cannot_be_read_gives_exit_code_5_and_is_named(benchctl: Command, runs: Path) -> None:
    (runs / "other" / "journal.jsonl").write_bytes(b"torn")
    ended = benchctl("reanalyse", "runs", "--workers", "1", "--out", "results")
    assert ended.exit_code == 5
    assert "other was not computed: " in ended.out
    assert "2 runs, 1 not computed." in ended.out
    assert (Path("results") / "figures" / "one.csv").is_file()


def test_a_folder_without_runs_is_an_error_of_the_command_line(benchctl: Command, tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    ended = benchctl("reanalyse", "empty")
    assert ended.exit_code == 2
    assert "there is no run in empty" in ended.err
    assert not Path("reanalysis").exists()
