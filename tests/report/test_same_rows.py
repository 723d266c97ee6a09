"""Terminal, page and figures.csv have the same rows under the same conditions, and none is missing from any."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pandas as pd
import pytest
from rich.console import Console

from benchctl.archive.folder import RunFolder
from benchctl.archive.tables.figures import read_figures
from benchctl.cli.shown.tables import closing_tables
from benchctl.cli.shown.views import PlainView
from benchctl.launch.run import Documents, run
from benchctl.measure.budget.words import rounded
from benchctl.quantity import render
from benchctl.report.page import report_page
from benchctl.report.pictures.gallery import Gallery
from benchctl.report.reading.run_record import read_run_record
from tests.report.pages import Page, part, rows_of, words_of
from tests.shared_runs import SharedRuns

SET_LEVELS = """\
benchctl: sequence 1
title: Set levels
purpose: Levels that the sequence sets, beside one that is searched.
limits: {supply_current: {above: 95 A, for: 200 ms}}
steps:
  - power_on: {voltage: 14.4 V, current_limit: 90 A}
  - repeat: {times: 2}
    steps: [{measure_idle: {for: 1 s}}]
  - set: {load: 4 ohm, frequency: 1 kHz}
  - measure_continuous: {level: 100 mV, for: 1 s}
  - set: {load: 4 ohm, level: 200 mV}
  - measure_continuous: {for: 1 s}
  - find_clean_level: {thd_n: 1 %, from: 500 mV, to: 2 V}
  - measure_continuous: {for: 1 s}
  - measure_continuous: {for: 1 s}
  - power_off
"""
Row = tuple[str, ...]


@pytest.fixture(scope="module", params=["supply_sensitivity", "efficiency_map", "set levels"])
def folder(request: pytest.FixtureRequest, shared_runs: SharedRuns, tmp_path_factory: pytest.TempPathFactory) -> Path:
    if request.param != "set levels":
        return shared_runs.of(request.param, "hx2150_bridged").folder
    out = tmp_path_factory.mktemp("runs")
    sequence = out / "sequence.yaml"
    sequence.write_text(SET_LEVELS, encoding="utf-8")
    return run(Documents(sequence, "workshop", "hx2150"), PlainView(Console(quiet=True)), out=out, dry_run=True).folder


def written(folder: Path) -> Counter[Row]:
    """Channel, load, supply, level and value of each continuous power in figures.csv, as a person reads them."""
    table = read_figures(RunFolder.open(folder))
    powers = table[table["figure"] == "continuous_power"]
    return Counter(_row(record) for _, record in powers.iterrows())


def _row(record: pd.Series) -> Row:  # type: ignore[type-arg]
    level = "clean" if record["drive"] == "clean" else render(record["level_v"], "V")
    value = rounded(record["value"], record["expanded_uncertainty"])
    return record["channel"], render(record["load_ohm"], "ohm"), render(record["supply_set_v"], "V"), level, value


def shown(caption: str, heads: list[str], cells: list[str]) -> Row:
    """The same of a row of a table, from its caption where the table has no such column."""
    found = dict(zip(heads, cells, strict=True))
    _, _, said = caption.partition(": ")
    supply = found.get("supply") or next(part.removesuffix(" supply") for part in said.split(", ") if "supply" in part)
    level = "clean" if caption.startswith("Clean") else found["level"]
    value = " ".join(found["continuous"].split()[:3])  # and behind it what is noted of it
    return found["channel"], found["load"], supply, level, value


def on_terminal(folder: Path) -> Counter[Row]:
    run_record = read_run_record(folder)
    assert run_record.amplifier is not None
    found: list[Row] = []
    for table in closing_tables(run_record.entries, run_record.amplifier).renderables:  # type: ignore[attr-defined]
        if "utput power" in str(table.title):
            heads = [str(column.header) for column in table.columns]
            columns = [[str(cell) for cell in column.cells] for column in table.columns]
            found += [shown(str(table.title), heads, list(row)) for row in zip(*columns, strict=True)]
    return Counter(found)


def on_page(folder: Path) -> Counter[Row]:
    page = Page.of(report_page(read_run_record(folder), Gallery((), ())))
    found: list[Row] = []
    for table in [*page.tables("Clean output power"), *page.tables("Output power")]:
        caption = words_of(part(part(table, "caption"), "span"))
        heads = [words_of(head) for head in part(table, "thead").iter("th")]
        found += [shown(caption, heads, row) for row in rows_of(table)]
    return Counter(found)


def test_every_power_that_was_measured_is_a_row_of_each_under_its_conditions(folder: Path) -> None:
    rows = written(folder)
    assert sum(rows.values()) >= 12
    assert on_terminal(folder) == rows
    assert on_page(folder) == rows


def test_no_two_rows_of_a_closing_table_are_alike(folder: Path) -> None:
    """By what stands before the values: conditions, steps and names."""
    run_record = read_run_record(folder)
    assert run_record.amplifier is not None
    for table in closing_tables(run_record.entries, run_record.amplifier).renderables:  # type: ignore[attr-defined]
        names = [[str(cell) for cell in column.cells] for column in table.columns if column.justify == "left"]
        rows = list(zip(*names, strict=True))
        assert len(set(rows)) == len(rows), table.title
