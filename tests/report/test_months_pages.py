"""The pages on many runs: the life of a unit and the drift of a bench, from copies of one run with months between."""

from __future__ import annotations

import random
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from benchctl.archive.changes import Change
from benchctl.archive.collection.runs import runs_in
from benchctl.archive.collection.summary import RunSummary
from benchctl.errors import UsageError
from benchctl.report.drift.bench_life import BenchLife, bench_life
from benchctl.report.drift_page import drift_page
from benchctl.report.life.unit_life import UnitLife, unit_life
from benchctl.report.life_page import life_page
from benchctl.report.pictures.over_months.life import life_pictures
from tests.lives import Event, as_real, months_of, note_after, with_clamp
from tests.report.pages import Page
from tests.shared_runs import SharedRuns

SERIAL = "17-0042"
UNIT = f"serial: '{SERIAL}'\nunit: {{owner: M. Lindqvist, complaint: Left channel cuts out when warm}}\n"
# Before a repair, cut off, after the repair, half a year later; then a dry run.
DAYS = [datetime(2026, *day, 9, 30, tzinfo=UTC) for day in ((1, 12), (1, 13), (2, 20), (8, 5), (8, 6))]
BEFORE_REPAIR, CUT_OFF, DRY = {0, 1}, 1, 4


@dataclass(frozen=True)
class Workshop:
    """The runs of one unit, and those of a year on one bench whose clamp ages."""

    unit: list[RunSummary]
    aged: list[RunSummary]


def _of_unit(events: list[Event], number: int) -> None:
    if number != DRY:
        as_real(events)
    for figure in (figure for event in events for figure in event.get("figures", ())):
        if number in BEFORE_REPAIR and figure["name"] == "idle_current":
            figure["value"] += 1.2
    if number == CUT_OFF:
        del events[-6:]
    if number == 0:
        note_after(events, "2026-02-18T14:20:00.000+00:00", "**Both output relays** cleaned", photos=1)


def _ageing(events: list[Event], number: int) -> None:
    as_real(events)
    with_clamp(events, 1.0 + random.Random(number).gauss(0.0, 0.0005) + 0.0007 * number)


@pytest.fixture(scope="module")
def workshop(shared_runs: SharedRuns, tmp_path_factory: pytest.TempPathFactory) -> Workshop:
    run = shared_runs.of("quick_check", "hx2150").folder
    out = tmp_path_factory.mktemp("months")
    months_of(run, out / "unit", DAYS, _of_unit, UNIT)
    months_of(run, out / "bench", [DAYS[0] + timedelta(days=15 * n) for n in range(24)], _ageing)
    return Workshop(*(list(runs_in(out / name).runs) for name in ("unit", "bench")))


@pytest.fixture(scope="module")
def life(workshop: Workshop) -> UnitLife:
    return unit_life(workshop.unit, SERIAL)


@pytest.fixture(scope="module")
def life_shown(life: UnitLife) -> Page:
    return Page.of(life_page(life))


@pytest.fixture(scope="module")
def bench(workshop: Workshop) -> BenchLife:
    return bench_life(workshop.aged)


@pytest.fixture(scope="module")
def bench_shown(bench: BenchLife) -> Page:
    return Page.of(drift_page(bench))


def test_a_life_has_every_real_run_in_order_with_its_verdict_and_the_repair_between(life_shown: Page) -> None:
    heads = [" ".join("".join(head.itertext()).split()) for head in life_shown.all("h3")]
    course = [head for head in heads if head[:1].isdigit() and "over time" not in head]
    assert course == [
        "2026-01-12 09:30 UTC: Quick check",
        "2026-01-13 09:30 UTC: Quick check",
        "1. Noted on 2026-02-18 14:20 UTC",
        "2026-02-20 09:30 UTC: Quick check",
        "2026-08-05 09:30 UTC: Quick check",
    ]
    assert "Both output relays cleaned" in life_shown.text
    assert "Photograph 1 of the note of 2026-02-18 14:20 UTC: on the page of 20260112" in life_shown.text
    assert "1 simulated run; --with-simulated takes them in" in life_shown.text


def test_a_run_that_was_cut_off_is_shown_as_such_and_nothing_is_held_against_it(
    life: UnitLife, life_shown: Page
) -> None:
    row = next(row for row in _rows(life_shown, "The runs") if row[0].startswith("2026-01-13"))
    assert "No verdict" in row
    assert "The journal does not say how the run ended: it was killed." in row
    assert [each.since and each.since.run_records[0].name[:8] for each in life.runs] == [
        None,
        "20260112",
        "20260112",
        "20260220",
    ]
    assert "Idle current: 2.90 A before, 1.70 A after: 41 % less" in life_shown.text


def test_figures_over_time_have_a_point_for_each_run_and_a_mark_for_the_repair(life_shown: Page) -> None:
    labels = [picture.attrib["aria-label"] for picture in life_shown.all("svg")]
    assert any(
        label.startswith("Idle current over time, 2026-01-12 to 2026-08-05. idle current: 1.7") for label in labels
    )
    assert any(label.startswith("Power into 4 ohm over time") for label in labels)
    idle = next(svg for svg in life_shown.all("svg") if svg.attrib["aria-label"].startswith("Idle"))
    assert "1" in ["".join(text.itertext()) for text in idle.iter("text")]


def test_the_axis_of_small_values_has_a_unit_that_suits_them(life: UnitLife) -> None:
    """An idle current of 170 µA in place of 1.7 A."""
    rows = {place: changes for place, changes in life.together.rows.items() if place.identity[0] == "idle_current"}
    small = {place: tuple(map(_ten_thousandth, changes)) for place, changes in rows.items()}
    picture = next(life_pictures(replace(life, together=replace(life.together, rows=small)), ()))
    letters = re.findall(r"<text[^>]*>([^<]+)</text>", picture.svg)
    assert "µA" in letters
    assert not [each for each in letters if each.startswith("0.000")]


def _ten_thousandth(change: Change) -> Change:
    before, after = (
        f and replace(f, value=f.value / 1e4, expanded_uncertainty=1e-6) for f in (change.before, change.after)
    )
    return replace(change, before=before, after=after)


def test_the_owner_is_named_only_where_that_is_asked_for(life: UnitLife, life_shown: Page) -> None:
    assert "Lindqvist" not in life_shown.text
    assert "Left channel cuts out when warm" in life_shown.text
    named = life_page(life, with_owner=True)
    assert "M. Lindqvist" in named
    assert "This page names people. Do not publish it." in named


def test_simulated_runs_are_marked_where_they_are_taken_in(workshop: Workshop) -> None:
    taken_in = Page.of(life_page(unit_life(workshop.unit, SERIAL, with_simulated=True)))
    assert "Simulated figures are not measurements." in taken_in.text
    (dry,) = [row for row in _rows(taken_in, "The runs") if row[0].startswith("2026-08-06")]
    assert "simulated" in dry


def test_runs_of_another_sequence_are_not_held_against_each_other(
    shared_runs: SharedRuns, workshop: Workshop, tmp_path: Path
) -> None:
    other = shared_runs.of("burst_and_continuous", "hx2150").folder
    months_of(other, tmp_path, [datetime(2026, 3, 1, 9, tzinfo=UTC)], lambda events, _: as_real(events), UNIT)
    mixed = unit_life([*workshop.unit, *runs_in(tmp_path).runs], SERIAL)
    assert [each.since is None for each in mixed.runs] == [True, False, False, True, False]


@pytest.mark.parametrize(("serial", "says"), [("9", "17-0042 (5 runs)"), ("", "serial: 17-0042")])
def test_an_unknown_serial_number_is_told_with_those_there_are_and_how_to_give_one(
    workshop: Workshop, serial: str, says: str
) -> None:
    with pytest.raises(UsageError) as refused:
        unit_life(workshop.unit, serial)
    assert says in refused.value.advice


def test_a_clamp_that_ages_is_seen_with_its_date_its_size_and_what_it_means(
    bench: BenchLife, bench_shown: Page
) -> None:
    (alarm,) = bench.alarms
    assert alarm.reference.what == "supply current, clamp over supply's reading"
    (row,) = [row for row in _rows(bench_shown, "Gains and figures") if row[0] == alarm.reference.what]
    # 0.07 % a fortnight: 19 steps lie between the means of the first five and of the last five.
    assert row[1].startswith("changed 1.3 % higher at the end than at the beginning; ")
    assert "since 2026-" in row[1]
    assert "peak currents and those of bursts on the clamp" in bench_shown.text
    charts = [picture.attrib["aria-label"] for picture in bench_shown.all("svg")]
    assert any(label.startswith(f"Control chart of {alarm.reference.what}. 24 values, from ") for label in charts)


def test_nothing_is_judged_of_three_runs(workshop: Workshop) -> None:
    few = bench_life(workshop.aged[:3])
    assert few.judged == []
    page = Page.of(drift_page(few)).text
    assert "Nothing can be judged yet: no series has 10 values." in page
    assert "3 values; 10 at least are needed" in page


def test_the_same_runs_make_the_same_page(workshop: Workshop) -> None:
    some = workshop.aged[:4]
    assert drift_page(bench_life(some)) == drift_page(bench_life(some[::-1]))


def test_a_bench_is_named_by_a_part_of_its_title_that_fits_only_one(workshop: Workshop) -> None:
    assert bench_life(workshop.aged[:1], "BENCH 2").bench == "Bench 2 of the ferry-amplifier workshop"
    with pytest.raises(UsageError, match="no run is of a bench whose title has 'bench 9' in it; there are: Bench 2"):
        bench_life(workshop.aged[:1], "bench 9")


def test_a_check_standard_brings_its_figures(workshop: Workshop) -> None:
    standard = bench_life([run for run in workshop.unit if run.serial], standard=SERIAL)
    kinds = {series.reference.what.partition(",")[0].partition(" (")[0] for series in standard.series}
    assert {"continuous power of A", "idle current", "output A"} <= kinds


def _rows(page: Page, caption: str) -> Iterator[list[Any]]:
    for table in page.tables(caption):
        for row in table.iter("tr"):
            yield [" ".join("".join(cell.itertext()).split()) for cell in row]
