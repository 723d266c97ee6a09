"""What the page on a bench says of each state of a chart, from values that are made up here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from benchctl.archive.drift.series import Series, series_of
from benchctl.archive.drift.value import Dated, Kind, Reference, ReferenceValue
from benchctl.report.drift.bench_life import BenchLife
from benchctl.report.drift.wording import finding_of
from benchctl.report.drift_page import drift_page
from tests.report.pages import Page

START = datetime(2026, 1, 5, 9, tzinfo=UTC)
QUIET = (0.2, -0.3, 0.4, -0.1, 0.1, -0.4, 0.3, -0.2, 0.0, 0.3, -0.4, 0.2)


def made(values: Sequence[float], kind: Kind = "gain", unit: str = "", allowed: float = 0.013) -> Series:
    """A series with a value a week; of a gain, values in a tenth of a per cent above 1."""
    reference = Reference(kind, f"{kind} of the clamp", unit, "oscilloscope, serial 17", "supply current")
    scaled = [1.0 + 0.001 * value for value in values] if kind == "gain" else list(values)
    points = [
        Dated(START + timedelta(days=7 * number), f"run-{number}", ReferenceValue(reference, value, allowed, "as new"))
        for number, value in enumerate(scaled)
    ]
    return series_of(points)[0]


def shown(*series: Series) -> Page:
    end = max(point.began for each in series for point in each.present.points)
    life = BenchLife(
        "Bench 2", "", 24, START, end, series, (), ("supply, due on 2026-02-01",), ("a run: damaged",), False
    )
    return Page.of(drift_page(life))


UP = [*QUIET * 2, *(value + 6.0 for value in QUIET)]  # by 5.92 from the mean of the first five to that of the last
FOR_A_TIME = [*QUIET * 3, *(value + 6.0 for value in QUIET), *QUIET]
LITTLE = [*QUIET * 2, *(value + 1.5 for value in QUIET)]


@pytest.mark.parametrize(
    ("values", "word", "text"),
    [
        (QUIET[:9], "too few values", "9 values; 10 at least are needed"),
        (QUIET * 2, "within limits", ""),
        (QUIET, "within limits", "provisional, 12 values of 20"),
        ([*QUIET, 5.0, *QUIET], "one value outside", "on 2026-03-30, 0.48 % higher than the centre line: those after"),
        ([*QUIET, *QUIET, 5.0], "one value outside", "0.48 % higher than the centre line: the newest; measure again"),
        (UP, "changed", "0.59 % higher at the end than at the beginning; above the limits since 2026-06-22"),
        (FOR_A_TIME, "changed for a time", "% higher for a time than before and after"),
        (LITTLE, "changed a little", "less than a quarter of what the bench file states"),
    ],
)
def test_each_state_has_its_word_its_size_and_its_days(values: Sequence[float], word: str, text: str) -> None:
    found = finding_of(made(values))
    assert found.word == word
    assert text in found.text
    assert bool(found.means) == (word == "changed")


def test_a_zero_is_told_in_its_unit() -> None:
    zero = made([0.001 * value for value in UP], "zero", "A", 0.02)
    assert finding_of(zero).text.startswith("5.9 mA higher at the end than at the beginning")


def test_the_page_says_what_stands_outside_and_how_many_chance_makes() -> None:
    page = shown(made([*QUIET, 5.0, *QUIET]), made([0.01 * v for v in QUIET * 2], "zero", "A", 0.05)).text
    assert "No lasting change in 2 series; 1 with one value outside, where chance makes less than one." in page
    assert "It may be that run's alone." in page
    assert "supply, due on 2026-02-01" in page
    assert "a run: damaged" in page
    assert "1 zeros, each of an input on one of its ranges: 1 within limits." in page


def test_a_change_before_the_last_calibration_stays_on_the_page() -> None:
    series = made(UP)
    again = [
        replace(point, began=point.began + timedelta(days=300), given=replace(point.given, phase="calibrated"))
        for point in made(QUIET * 2).present.points
    ]
    (both,) = series_of([*series.present.points, *again])
    row = next(cell for cell in shown(both).row("Gains and figures", both.reference.what) if "within" in cell)
    assert row == "within limits before the newest calibration, until 2026-09-07: changed"


def test_only_zeros_with_something_to_show_are_drawn() -> None:
    page = shown(made(QUIET * 2), made([0.01 * v for v in QUIET * 2], "zero", "A", 0.05))
    assert [svg.attrib["aria-label"].partition(".")[0] for svg in page.all("svg")] == [
        "Control chart of gain of the clamp"
    ]
