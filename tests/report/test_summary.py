"""What a program gets: the summary of a run and of a comparison, in base units."""

from __future__ import annotations

import json
from pathlib import Path

from benchctl.archive.folder import RunFolder
from benchctl.archive.tables.figures import read_figures
from benchctl.report.reading.run_record import read_run_record
from benchctl.report.summary import comparison_summary, summary_of
from tests.report.conftest import killed, real


def test_clean_power_is_that_of_the_table_with_rating_and_capture(whole: Path) -> None:
    table = read_figures(RunFolder.open(whole))
    rows = table[table["figure"].isin(["burst_power_clean", "continuous_power"])]
    power = summary_of(read_run_record(whole))["power"]
    assert sorted((p["figure"], p["channel"], p["value"], p["capture"]) for p in power) == sorted(
        rows[["figure", "channel", "value", "capture"]].itertuples(index=False, name=None)
    )
    assert {p["rated_w"] for p in power if p["channel"] != "total"} == {150.0}


def test_a_killed_run_has_no_exit_code_and_no_verdict_that_passes(folder: Path) -> None:
    said = summary_of(read_run_record(killed(real(folder))))
    assert said["exit_code"] is None
    assert said["verdict"] != "Passes"


def test_it_is_plain_json(whole: Path) -> None:
    run_record = read_run_record(whole)
    assert json.loads(json.dumps(summary_of(run_record))) == summary_of(run_record)
    compared = comparison_summary([run_record, run_record])
    assert (compared["unlike"], compared["findings"], compared["changes"]) == ([], [], [])
    assert "no change beyond the uncertainty" in compared["headline"]
