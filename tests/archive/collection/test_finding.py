"""What is asked for in words is what is found, and what is not known is neither found nor hidden."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from benchctl.archive.collection.condition import FigureCondition, parse_condition
from benchctl.archive.collection.figure_rows import FigureRow, FigureTable
from benchctl.archive.collection.filters import Filters
from benchctl.archive.collection.finding import Matches, found_among
from benchctl.archive.collection.summary import RunSummary, summary_of
from benchctl.errors import DocumentError
from tests.shared_runs import SharedRuns

ROW = FigureRow(
    figure="continuous_power",
    value=260.0,
    unit="W",
    expanded_uncertainty=4.0,
    coverage_factor=2.0,
    bound="",
    verdict="",
    channel="A",
    step="6 measure_continuous",
    load_ohm=2.0,
    frequency_hz=1000.0,
    burst_cycles=None,
    level_v=1.0,
    drive="clean",
    supply_set_v=14.4,
    supply_at="",
    driven="A B",
    thd_limit=0.01,
    bursts="",
    contradiction="",
    bound_reason="",
    capture="",
    time_s=30.0,
)
ASKED = "continuous_power at 2 ohm above 250 W"


@pytest.fixture(scope="module")
def run(shared_runs: SharedRuns) -> RunSummary:
    return summary_of(shared_runs.of("quick_check", "hx2150").folder)


def search(run: RunSummary, condition: str, *rows: FigureRow, every: bool = False) -> Matches:
    cells = {name: ["" if cell is None else str(cell) for cell in column] for name, column in _columns(rows)}
    return found_among([run], {run.folder: FigureTable(cells, len(rows))}, parse_condition(condition), every=every)


def _columns(rows: Sequence[FigureRow]) -> Iterator[tuple[str, tuple[object, ...]]]:
    return zip(FigureRow._fields, zip(*rows, strict=True), strict=True)


@pytest.mark.parametrize(
    ("row", "where"),
    [
        (ROW, "met"),
        (ROW._replace(value=253.0), "undecided"),  # 253 ± 4 W spans 250 W
        (ROW._replace(value=240.0), ""),
        (ROW._replace(value=240.0, expanded_uncertainty=None, bound="at least"), "undecided"),
        (ROW._replace(value=255.0, expanded_uncertainty=None, bound="at least"), "met"),
        (ROW._replace(value=255.0, expanded_uncertainty=None, bound="at most"), "undecided"),
        (ROW._replace(value=240.0, expanded_uncertainty=None, bound="at most"), ""),
        (ROW._replace(expanded_uncertainty=None), "undecided"),
        (ROW._replace(contradiction="clamp and supply differ"), "undecided"),
        (ROW._replace(load_ohm=4.0), ""),
        (ROW._replace(load_ohm=None), ""),
        (ROW._replace(channel="total"), ""),  # two channels of 130 W are none of 260 W
        (ROW._replace(figure="held_power"), ""),
    ],
)
def test_a_run_is_found_only_if_the_whole_interval_meets_the_condition(
    run: RunSummary, row: FigureRow, where: str
) -> None:
    found = search(run, ASKED, row)
    assert (bool(found.met), bool(found.undecided)) == (where == "met", where == "undecided")


def test_one_figure_is_enough_unless_every_one_is_asked_for(run: RunSummary) -> None:
    weak, open_ = ROW._replace(channel="B", value=200.0), ROW._replace(channel="B", value=251.0)
    found = search(run, ASKED, ROW, weak)
    assert [(len(each.figures), each.asked) for each in found.met] == [(1, 2)]
    assert search(run, ASKED, ROW, weak, every=True) == Matches((), ())
    assert len(search(run, ASKED, ROW, open_, every=True).undecided) == 1
    assert len(search(run, ASKED, ROW, ROW._replace(channel="B"), every=True).met) == 1


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("continuous_power at 2 ohm at 1 kHz at 14.4 V on A above 250 W", True),
        ("continuous_power at 1kHz at 2000 mohm above 0.25 kW", True),
        ("continuous_power on B above 250 W", False),
        ("continuous_power at 997 Hz above 250 W", False),
        ("continuous_power at 13.8 V above 250 W", False),
        ("continuous_power of 8 cycles above 250 W", False),
        ("continuous_power below 300 W", True),
        ("continuous_power outside 250 W", True),
        ("continuous_power within 250 W", False),
    ],
)
def test_places_and_relations_mean_what_they_say(run: RunSummary, words: str, found: bool) -> None:
    assert bool(search(run, words, ROW).met) is found


@pytest.mark.parametrize(
    ("words", "column", "says"),
    [
        ("", 1, "the name of a figure belongs here"),
        ("continuous_powr above 2 W", 1, "did you mean 'continuous_power'"),
        ("continuous_power", 17, "and the bound"),
        ("continuous_power at 2 ohm abov 250 W", 27, "did you mean 'above'"),
        ("continuous_power at above 250 W", 21, "a load, a frequency or a supply voltage"),
        ("continuous_power at 2 W above 250 W", 21, "no load in ohm"),
        ("continuous_power at 2 ohm at 4 ohm above 250 W", 30, "a second load"),
        ("continuous_power of 8 ohm above 250 W", 21, "no length of a burst"),
        ("continuous_power at 2 ohm above 250 V", 33, "is not accepted here; give W"),
        ("continuous_power at 2 ohm above", 32, "is not a number with a unit"),
        ("channel_balance within 0.5 %", 24, "the figure is 1 where all is well"),
    ],
)
def test_what_is_no_condition_is_refused_at_its_column(words: str, column: int, says: str) -> None:
    with pytest.raises(DocumentError) as refused:
        parse_condition(words)
    (problem,) = refused.value.problems
    assert (problem.column, problem.source_line) == (column, words)
    assert says in problem.message


def test_a_figure_of_plain_numbers_and_one_about_one_are_found_too(run: RunSummary) -> None:
    damping = ROW._replace(figure="damping_factor", unit="1", value=200.0, expanded_uncertainty=10.0)
    balance = ROW._replace(figure="channel_balance", unit="1", value=0.95, expanded_uncertainty=0.01)
    assert search(run, "damping_factor above 100", damping).met
    assert search(run, "channel_balance within 1 dB", balance).met


def test_filters_choose_by_each_thing_and_put_the_oldest_first(run: RunSummary) -> None:
    old = replace(run, serial="17-0042", began=datetime(2025, 3, 1, 9, 0, tzinfo=UTC), verdict="fails")
    new = replace(run, serial="17-0100", began=datetime(2026, 11, 24, 22, 10, tzinfo=UTC), folder=Path("b"))
    undated = replace(run, began=None, folder=Path("c"))
    runs = [new, old, undated]
    assert Filters().keep(runs) == [undated, old, new]
    assert Filters(serial="17-*").keep(runs) == [old, new]
    assert Filters(serial="17-00").keep(runs) == []
    assert Filters(verdict="fails").keep(runs) == [old]
    assert Filters(from_=datetime(2026, 1, 1, tzinfo=UTC)).keep(runs) == [new]
    assert Filters(to=datetime(2025, 3, 1, 9, 0, tzinfo=UTC)).keep(runs) == []
    for name in ("hx2150", "HX 2150", "hx", "sim/amplifiers/hx2150.yaml"):
        assert len(Filters(amplifier=name).keep(runs)) == 3, name
    assert Filters(amplifier="kx240").keep(runs) == []
    for name in ("quick_check", "Quick check", "quick"):
        assert len(Filters(sequence=name).keep(runs)) == 3, name
    assert Filters(is_simulated=False).keep(runs) == []


def test_a_condition_is_the_same_however_it_is_spaced() -> None:
    tight = parse_condition("burst_power_clean of 8 cycles at 4ohm above 120W")
    loose = parse_condition("  burst_power_clean   at 4 Ω  of 8 cycles   above 120 W ")
    assert tight == loose
    assert isinstance(tight, FigureCondition)
    assert tight.burst_cycles == 8
