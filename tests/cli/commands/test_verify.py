"""benchctl verify: anybody can compute the figures of a run again, and is told what does not agree."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import entries_of
from benchctl.archive.tables.figures_csv import write_figures
from benchctl.archive.tables.run_identity import run_identity_of
from tests.cli.conftest import Command, RunFolderOf
from tests.cli.files import IDLE
from tests.journals import read_events, write_events


@pytest.fixture
def folder(run_folder_of: RunFolderOf) -> Path:
    return run_folder_of(IDLE)


def test_the_figures_of_an_untouched_run_all_agree(benchctl: Command, folder: Path) -> None:
    ended = benchctl("verify", folder)
    assert ended.exit_code == 0
    assert ended.out.endswith("figures computed again: all agree.\n")


def test_a_figure_that_was_changed_gives_exit_code_1_and_is_named(benchctl: Command, folder: Path) -> None:
    journal = folder / "journal.jsonl"
    text = journal.read_text(encoding="utf-8")
    before, name, after = text.partition('"name": "idle_current", "value": ')
    assert name, "the journal no longer spells a figure this way"
    journal.write_text(f"{before}{name}9{after}", encoding="utf-8")
    ended = benchctl("verify", folder)
    assert ended.exit_code == 1
    assert "idle_current" in ended.out
    assert "they do not all agree" in ended.out


def test_a_folder_of_an_earlier_method_gives_exit_code_0_and_says_what_comes_out_differently(
    benchctl: Command, folder: Path
) -> None:
    events = read_events(folder / "journal.jsonl")
    for event in (event for event in events if event["event"] == "figures"):
        del event["method"]
        for figure in event["figures"]:
            figure["value"] *= 1.001 if figure["name"] == "idle_current" else 1.0
    write_events(folder / "journal.jsonl", events)
    write_figures(RunFolder.open(folder), entries_of(events), run_identity_of(events))
    ended = benchctl("verify", folder)
    assert ended.exit_code == 0, ended.out
    assert "computed by another method: idle_current in step " in ended.out
    assert "all others agree. The run was made by an earlier version of benchctl (method 1; " in ended.out
    assert "nobody has altered them" in ended.out
    (folder / "journal.jsonl").write_bytes(
        (folder / "journal.jsonl").read_bytes().replace(b'"unit": "V"', b'"unit": "W"', 1)
    )
    ended = benchctl("verify", folder)
    assert ended.exit_code == 1
    assert "nobody has altered them" not in ended.out


def test_an_input_that_was_changed_gives_exit_code_1_though_all_figures_agree(benchctl: Command, folder: Path) -> None:
    bench = folder / "inputs" / "bench.yaml"
    bench.write_text(bench.read_text(encoding="utf-8").replace("110 A", "100000 A", 1), encoding="utf-8")
    ended = benchctl("verify", folder)
    assert ended.exit_code == 1
    assert "inputs/bench.yaml was changed after the run began: line " in ended.out
    assert "is not as the run left it" in ended.out
    assert benchctl("verify", folder, "--json").data["changed"]
    refused = benchctl("resume", folder)
    assert refused.exit_code == 3
    assert "--accept REASON" in refused.err


def test_json_says_the_same(benchctl: Command, folder: Path) -> None:
    ended = benchctl("verify", folder, "--json")
    assert ended.exit_code == 0
    assert ended.data["agrees"] is True
    assert ended.data["checked"] > 0
    assert ended.data["differences"] == ended.data["unused_captures"] == []


def test_a_folder_that_holds_no_run_is_an_error_in_words(benchctl: Command, tmp_path: Path) -> None:
    ended = benchctl("verify", tmp_path)
    assert ended.exit_code in {2, 5}
    assert str(tmp_path) in ended.err
