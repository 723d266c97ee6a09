"""A page tells what two instruments saw and how well they agreed, and what only one of them saw."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.report.page import report_page
from benchctl.report.pictures.gallery import Gallery
from benchctl.report.reading.run_outcome import run_outcome_of
from benchctl.report.reading.run_record import RunRecord, read_run_record
from benchctl.report.sections.agreement import agreement_tables
from benchctl.report.sections.verdicts import overall_of
from benchctl.report.summary import summary_of
from tests.report.conftest import Event, rewrite
from tests.report.pages import Page


@pytest.fixture(scope="module")
def run_record(whole: Path) -> RunRecord:
    return read_run_record(whole)


def rows(run_record: RunRecord, caption: str) -> list[list[str]]:
    (table,) = (table for table in agreement_tables(run_record) if table.caption == caption)
    return [[cell.text for cell in row] for row in table.rows]


def test_each_quantity_that_two_saw_stands_with_how_far_apart_they_were(run_record: RunRecord) -> None:
    found = rows(run_record, "Seen by two")
    assert {row[0] for row in found} == {
        "supply current",
        "supply voltage",
        "output voltage",
        "peak supply current",
        "power",
        "signal path",
        "polarity",
        "load",
    }
    assert [row[1] for row in found if row[0] == "output voltage"] == ["A", "B"]
    assert {row[-1] for row in found} == {"agree"}
    (current,) = (row for row in found if row[2].startswith("the supply reads") and "clamp" in row[3])
    assert int(current[4]) >= 2  # at idle after power-on, and measured at idle
    assert current[5].endswith("A")


def test_what_only_one_instrument_saw_is_named(run_record: RunRecord) -> None:
    alone = dict(rows(run_record, "Seen by one instrument only"))
    assert alone["temperature: heatsink"] == "the thermometer"
    assert "load resistance, and which one is connected" in alone
    assert "supply current" not in alone
    assert "output voltage of A" not in alone
    assert not any(quantity.startswith("which way round") for quantity in alone)


def without_comparisons(events: list[Event]) -> list[Event]:
    return [{name: value for name, value in event.items() if name != "comparisons"} for event in events]


def test_what_was_not_compared_counts_as_seen_by_one(folder: Path) -> None:
    def none(events: list[Event]) -> list[Event]:
        return [event | {"comparisons": []} if event["event"] == "figures" else event for event in events]

    alone = dict(rows(read_run_record(rewrite(folder, none)), "Seen by one instrument only"))
    assert {"supply current", "supply voltage", "output voltage of A", "level at the input"} <= set(alone)


def test_a_folder_from_before_anything_was_compared_claims_nothing(folder: Path) -> None:
    assert agreement_tables(read_run_record(rewrite(folder, without_comparisons))) == []


def contradicted(events: list[Event]) -> list[Event]:
    """As if the clamp had shown twice what the supply reads in the last comparison of currents at idle."""
    changed = [dict(event) for event in events]
    idle = next(event for event in changed if event.get("analysis") == "idle")
    idle["comparisons"] = [
        each | {"second": each["second"] | {"value": 2.0 * each["second"]["value"]}}
        if each["second"]["who"].startswith("the clamp")
        else each
        for each in idle["comparisons"]
    ]
    return changed


def test_a_contradiction_stands_at_the_head_of_the_page_and_takes_its_verdicts(folder: Path) -> None:
    run_record = read_run_record(rewrite(folder, contradicted))
    page = Page.of(report_page(run_record, Gallery((), ())))
    assert "Instruments contradict each other" in page.text
    assert "second unit in parallel" in page.text
    assert overall_of(run_record, run_outcome_of(run_record)).word in {"Inconclusive", "Fails"}
    (said,) = summary_of(run_record)["contradictions"]
    assert "second unit in parallel" in said
    (idle,) = (figure for entry in run_record.entries for figure in entry.figures if figure.name == "idle_current")
    assert idle.verdict == "inconclusive"
    both = [row for row in rows(run_record, "Seen by two") if row[0] == "supply current" and "clamp" in row[3]]
    assert [row[-1] for row in both] == ["contradict, 1 of 2 times"]


def test_of_several_occasions_the_one_with_the_least_room_left_stands(run_record: RunRecord) -> None:
    """More power out than in has one end only; of a low level most room is left, so the highest power stands."""
    (power,) = (row for row in rows(run_record, "Seen by two") if row[0] == "power")
    given = [
        figure.value
        for entry in run_record.entries
        for figure in entry.figures
        if (figure.name, figure.channel) == ("continuous_power", "total")
    ]
    assert power[2].startswith("the outputs give")
    assert float(power[2].split()[-2]) > 0.01 * max(given)
    assert "unreadable" not in " ".join(power)
