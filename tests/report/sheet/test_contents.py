"""The owner's sheet tells what the page tells, in fewer words, and leaves nothing out without saying so."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from benchctl.archive.journal.entries import entries_of
from benchctl.archive.notes import add_note
from benchctl.measure.budget.figure import Figure
from benchctl.report.pictures.gallery import Gallery
from benchctl.report.reading.run_record import RunRecord, read_run_record
from benchctl.report.sheet.contents import Room, sheet_contents
from benchctl.report.sheet.fitting import PAPERS, ROOMS, SIZES_PT, size_for
from benchctl.report.sheet.judged import sheet_verdicts
from benchctl.report.sheet.shortened import cut, listed_short
from benchctl.report.sheet.writing import sheet_page
from benchctl.report.words.quantities import with_uncertainty
from tests.report.conftest import PEOPLE, Event, changed, killed, real, rewrite
from tests.report.pages import Page, part, rows_of, words_of

NO_PICTURES = Gallery((), ())


def page_of(folder: Path) -> Page:
    return Page.of(sheet_page(read_run_record(folder), NO_PICTURES, "a4"))


def section(page: Page, heading: str) -> str:
    """What stands in the section with this heading; empty where there is none."""
    found = (each for each in page.all("section") if heading in map(words_of, each.iter("h2")))
    return next(map(words_of, found), "")


@pytest.fixture(scope="module")
def record(whole: Path) -> RunRecord:
    return read_run_record(whole)


@pytest.fixture(scope="module")
def page(record: RunRecord) -> Page:
    return Page.of(sheet_page(record, NO_PICTURES, "a4"))


def test_it_names_unit_owner_workshop_tester_date_and_bench_and_has_a_place_to_sign(page: Page) -> None:
    text = page.text
    for said in ("HX 2150", "Left channel cuts out when warm", "Eastharbour Audio Repairs", "Bench 2 of", "Signature"):
        assert said in text
    assert all(name in text for name in PEOPLE)
    assert re.search(r"\b20\d\d-\d\d-\d\d \d\d:\d\d UTC", text)


def test_nothing_is_fetched_and_nothing_runs(page: Page) -> None:
    targets = [element.get(name, "") for element in page.root.iter() for name in ("src", "href")]
    assert all(target.startswith("data:image/") for target in targets if target)
    assert page.all("script") == page.all("link") == []
    (policy,) = (meta.attrib["content"] for meta in page.all("meta") if meta.get("http-equiv"))
    assert policy.startswith("default-src 'none'; img-src data:"), "and the browser is told so"


def test_the_six_figures_are_figures_of_the_run_the_weakest_channel_of_each(record: RunRecord, page: Page) -> None:
    figures = [figure for entry in entries_of(record.events) for figure in entry.figures]
    power = min((each for each in figures if each.name == "continuous_power" and each.channel != "total"), key=_value)
    offset = max((each for each in figures if each.name == "dc_offset"), key=lambda each: abs(each.value))
    said = section(page, "In figures")
    assert f"continuous power {with_uncertainty(power)} channel {power.channel}" in said
    assert f"dc at the output {with_uncertainty(offset)}" in said
    assert len(part(next(e for e in page.all("section") if e.get("class") == "figures"), "dl")) == 6


def _value(figure: Figure) -> float:
    return figure.value


def test_what_a_search_has_set_and_what_idles_between_bursts_is_none_of_the_six(page: Page) -> None:
    said = section(page, "In figures")
    assert "THD+N" not in said
    assert "efficiency, " not in said


def test_every_verdict_is_in_a_row_or_counted_among_those_left_out(folder: Path) -> None:
    """Here every second figure is judged, and there is room for one row: the worst."""

    def judged(events: list[Event]) -> list[Event]:
        verdicts = ("passes", "fails", "inconclusive", "")
        return [
            event | {"figures": [f | {"verdict": verdicts[n % 4]} for n, f in enumerate(event["figures"])]}
            if event["event"] == "figures"
            else event
            for event in events
        ]

    record = read_run_record(rewrite(folder, judged))
    verdicts = [figure.verdict for entry in record.entries for figure in entry.figures]
    everything = sheet_verdicts(record, most=1000)
    assert sum(row.count for row in everything.rows) == sum(map(bool, verdicts))
    order = [("fails", "inconclusive", "passes").index(row.verdict) for row in everything.rows]
    assert order == sorted(order)
    few = sheet_verdicts(record, most=1)
    assert few.rows == everything.rows[:1]
    left = [int(count) for count in re.findall(r"(\d+) (?:verdicts? pass|fail|inconclusive)", few.left)]
    assert sum(left) == sum(map(bool, verdicts)) - few.rows[0].count
    assert everything.left == ""


def test_rows_have_what_was_measured_and_asked(page: Page) -> None:
    (table,) = page.all("table")
    row = next(row for row in rows_of(table) if row[0].startswith("continuous power"))
    assert row[0] == "continuous power into 4 ohm"
    assert re.fullmatch(r"A \d+ W, B \d+ W", row[1])
    assert row[2:] == ["above 150 W, the rating", "passes"]


def test_what_cannot_be_said_is_said_on_the_sheet(page: Page, folder: Path) -> None:
    assert "Simulated figures are not measurements." in page.text
    assert "(simulated)" in page.text
    measured = page_of(real(folder))
    assert "imulated" not in measured.text
    cut_off = page_of(killed(folder))
    assert "Interrupted" in cut_off.text
    assert "Nobody knows whether the bench is safe" in section(cut_off, "Not to be overlooked")


def test_an_inconclusive_verdict_and_a_stopped_run_are_seen_at_once(folder: Path) -> None:
    def edit(events: list[Event]) -> list[Event]:
        for event in events:
            if event["event"] == "figures":
                event["figures"] = [f | {"verdict": "inconclusive" if f["verdict"] else ""} for f in event["figures"]]
        return events

    page = page_of(rewrite(folder, edit))
    assert part(page.root, "main").findall(".//h2")[0].text == "Inconclusive (simulated)"
    assert "inconclusive" in [row[3] for row in rows_of(page.all("table")[0])]
    reason = "supply_current is 96 A; the limit: supply_current above 95 A"
    stopped = page_of(changed(folder, "run ended", reason=reason, exit_code=4))
    assert "stopped by a limit" in stopped.text
    assert reason in section(stopped, "Not to be overlooked")


def test_hostile_text_appears_as_text(folder: Path) -> None:
    hostile = "<script>alert('x')</script> & </style></main>"
    file = folder / "inputs" / "amplifier.yaml"
    text = file.read_text("utf-8")
    assert "title: HX 2150" in text
    quoted = hostile.replace("'", "''")
    file.write_text(text.replace("title: HX 2150", f"title: '{quoted}'").replace("M. Lindqvist", f"'{quoted}'"))
    add_note(folder, hostile)
    page = page_of(folder)
    assert page.all("script") == []
    assert page.text.count(hostile) == 3, "the unit, the owner and what was found"


def test_what_is_cut_says_so() -> None:
    assert cut("a short  text\nof two lines", 40) == "a short text of two lines"
    assert cut("one two three four", 12) == "one two …"
    assert cut("0123456789" * 3, 12) == "0123456789 …"
    assert listed_short(["one", "two", "three"], 8) == "one; two; and 1 more"
    assert listed_short(["one"], 8) == "one"
    assert listed_short([], 8) == ""


def test_type_becomes_smaller_only_where_there_is_much_to_say(record: RunRecord, folder: Path) -> None:
    little = sheet_contents(record, NO_PICTURES, ROOMS[0])
    assert size_for(little, PAPERS["a4"]) == SIZES_PT[0]
    add_note(folder, "Relay K2 had burnt contacts and was cleaned. " * 200)
    noted = read_run_record(folder)
    sizes = [size_for(sheet_contents(noted, NO_PICTURES, Room(8, 5, most)), PAPERS["letter"]) for most in (2000, 4000)]
    assert sizes[0] is not None
    assert sizes[0] < SIZES_PT[0]
    assert sizes[1] is None, "and what fits in none is told"
