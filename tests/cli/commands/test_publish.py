"""`benchctl publish` says what it made and what it left out, and refuses folders that are not its own."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.conftest import Command
from tests.measured_runs import cut_off, measured
from tests.shared_runs import SharedRuns


@pytest.fixture
def runs(shared_runs: SharedRuns, tmp_path: Path) -> Path:
    original = shared_runs.of("quick_check", "hx2150").folder
    (measured(original, tmp_path / "runs", "20260301-091500", edit=cut_off(1)) / "trend.csv").unlink()
    (tmp_path / "runs" / "letters").mkdir()
    return tmp_path / "runs"


def test_it_says_what_it_made_and_what_it_left_out(benchctl: Command, runs: Path) -> None:
    finished = benchctl("publish", "runs", "--out", "site", "--title", "Ferry amplifiers")
    assert (finished.exit_code, finished.err) == (0, "")
    assert finished.out.splitlines() == [
        f"Site: {Path('site', 'index.html')}",
        "1 run of 1 unit. Pages of runs made: 1; unchanged: 0. Files removed: 0.",
        f"Left out: {Path('runs', 'letters')}: is not a run folder: it holds no journal.jsonl",
    ]
    data = benchctl("publish", "runs", "--out", "site", "--title", "Ferry amplifiers", "--json").data
    assert (data["index"], data["made"], data["unchanged"]) == (str(Path("site", "index.html")), 0, 1)


def test_what_it_may_not_do_is_a_mistake_of_the_command(benchctl: Command, runs: Path) -> None:
    (runs.parent / "letters").mkdir()
    (runs.parent / "letters" / "one.txt").write_text("mine", encoding="utf-8")
    for arguments, said in (
        (("runs", "--out", "runs/site"), "lies in the folder of runs"),
        (("runs", "--out", "letters"), "is no site that benchctl made"),
        (("elsewhere", "--out", "site"), "there is no folder elsewhere"),
        (("letters", "--out", "site"), "there is nothing to publish in letters: it holds no run folder"),
        (("runs", "--out", "site", "--url", "tests.example"), "is not the address of a site"),
    ):
        finished = benchctl("publish", *arguments)
        assert finished.exit_code == 2, arguments
        assert said in finished.err, arguments
        assert not (runs.parent / "site").exists()
