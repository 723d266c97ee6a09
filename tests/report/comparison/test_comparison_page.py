"""Several runs on one page: the same figures side by side, by how much they differ, and whether that is significant."""

from __future__ import annotations

import shutil
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

from benchctl.archive.changes import Change, Occasion
from benchctl.measure.budget.figure import Figure
from benchctl.measure.conditions import Conditions
from benchctl.report.comparison.compared import compare, significance_of
from benchctl.report.comparison.tables import changes_table, runs_table, step_tables, unlike
from benchctl.report.comparison_page import comparison_page, write_comparison
from benchctl.report.pictures.compared.differences import difference_pictures
from benchctl.report.pictures.gallery import Gallery
from benchctl.report.reading.run_record import RunRecord, read_run_record
from tests.report.conftest import Event, changed, real, rewrite
from tests.report.pages import Page, words_of


def with_figure(folder: Path, name: str, add: float) -> Path:
    """The folder with so much added to every figure of a name."""

    def edit(events: list[Event]) -> list[Event]:
        for event in events:
            for figure in event.get("figures", ()):
                figure["value"] += add if figure["name"] == name else 0.0
        return events

    return rewrite(folder, edit)


@pytest.fixture
def repaired(whole: Path, tmp_path: Path) -> Path:
    """The same unit, a day later, that draws an ampere less at idle."""
    copy = shutil.copytree(whole, tmp_path / "later" / "20261231-120000-sample-for-a-report-hx-2150")
    return with_figure(copy, "idle_current", -1.0)


def run_records(*folders: Path) -> list[RunRecord]:
    return [read_run_record(folder) for folder in folders]


def page_of(*folders: Path) -> Page:
    comparison = compare(run_records(*folders))
    return Page.of(comparison_page(comparison, Gallery(tuple(difference_pictures(comparison)), ())))


def test_what_differs_is_told_with_the_uncertainty_of_the_difference(whole: Path, repaired: Path) -> None:
    """Both uncertainties of 70 mA make 99 mA."""
    table = changes_table(compare(run_records(whole, repaired)))
    assert table is not None
    (row,) = table.rows
    cells = {head.text: cell for head, cell in zip(table.heads, row, strict=True)}
    assert (cells["figure"].text, cells["figure"].name) == ("idle current", "idle_current")
    assert cells["step"].text == "3 measure_idle"
    assert cells["difference"].text.startswith("-1.00")
    assert float(cells["difference"].exact) == pytest.approx(-1.0)
    assert cells["difference"].note == "significant"
    assert cells["unit"].text == "A"


def test_a_run_does_not_differ_from_itself(whole: Path) -> None:
    comparison = compare(run_records(whole, whole))
    assert changes_table(comparison) is None
    assert unlike(comparison.run_records) == []
    assert "Nothing differs significantly." in page_of(whole, whole).text


def test_every_figure_of_every_run_is_in_the_tables(whole: Path, repaired: Path) -> None:
    both = run_records(whole, repaired)
    shown = Counter(
        cell.exact for _, tables in step_tables(compare(both)) for t in tables for row in t.rows for cell in row
    )
    written = Counter(
        repr(figure.value) for run_record in both for entry in run_record.entries for figure in entry.figures
    )
    assert written <= shown


def test_each_further_run_is_held_against_the_first(whole: Path, repaired: Path) -> None:
    _, tables = step_tables(compare(run_records(whole, repaired, whole)))[0]
    heads = [head.text for head in tables[0].heads]
    first, second, third = compare(run_records(whole, repaired, whole)).names.each
    less = f"difference from {first}"
    assert heads == ["figure", "channel", first, second, less, third, less, "unit"]


PLACE = Occasion("1 measure_idle", "idle", Conditions(), ("idle_current", "", None, None, None))
VALUE = Figure("idle_current", 1.0, "A", 0.1, 2.0)


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        (VALUE, replace(VALUE, value=1.1), "not significant"),
        (VALUE, replace(VALUE, value=1.2), "significant"),
        (VALUE, replace(VALUE, expanded_uncertainty=None), "inconclusive"),
        (VALUE, None, "only in one run"),
        (None, VALUE, "only in one run"),
        (None, None, ""),
    ],
)
def test_significance_in_words(before: Figure | None, after: Figure | None, words: str) -> None:
    assert significance_of(Change(PLACE, before, after)) == words


@pytest.mark.parametrize(("name", "what"), [("sequence.yaml", "sequence"), ("bench.yaml", "bench")])
def test_documents_that_differ_are_told_though_their_titles_do_not(
    whole: Path, repaired: Path, name: str, what: str
) -> None:
    file = repaired / "inputs" / name
    file.write_text(file.read_text(encoding="utf-8") + "# another word\n", encoding="utf-8")
    assert unlike(run_records(whole, repaired)) == [what]
    text = page_of(whole, repaired).text
    assert "The runs were not made under the same conditions" in text
    assert f"What should be the same and is not: {what}." in text


def test_controls_that_stood_otherwise_are_told(whole: Path, repaired: Path) -> None:
    changed(repaired, "hands", answers={"gain controls": "fully up"})
    assert unlike(run_records(whole, repaired)) == ["controls on record"]


def test_runs_whose_figures_were_computed_by_two_methods_are_told(whole: Path, repaired: Path) -> None:
    changed(repaired, "figures", method=1)
    assert unlike(run_records(whole, repaired)) == ["method of computing figures"]


def test_each_run_stands_with_its_amplifier_date_and_verdict(whole: Path, repaired: Path) -> None:
    table = runs_table(compare(run_records(whole, repaired)))
    rows = {row[0].text: [cell.text for cell in row[1:]] for row in table.rows}
    assert rows["amplifier"] == ["HX 2150", "HX 2150"]
    assert rows["date"][1] == "2026-12-31 12:00 UTC"
    assert rows["verdict"] == ["Fails", "Fails"]
    assert rows["instruments"] == ["simulated", "simulated"]


def test_one_dry_run_among_them_is_told_loudly(whole: Path, repaired: Path) -> None:
    assert "Simulated figures are not measurements." in page_of(whole, real(repaired)).text
    shutil.copytree(repaired, repaired.parent / "other")
    assert "imulated figures" not in page_of(repaired, repaired.parent / "other").text


def test_the_page_is_well_formed_and_escaped(whole: Path, repaired: Path) -> None:
    file = repaired / "inputs" / "amplifier.yaml"
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace("title: HX 2150", "title: '<script>x</script>'"), encoding="utf-8")
    page = page_of(whole, repaired)
    assert page.all("script") == []
    assert "HX 2150 and <script>x</script>" in page.text
    ids = Counter(element.get("id") for element in page.root.iter() if element.get("id"))
    assert [name for name, count in ids.items() if count > 1] == []


def test_the_picture_shows_what_differs_most_clearly_first(whole: Path, repaired: Path) -> None:
    (picture,) = difference_pictures(compare(run_records(whole, repaired)))
    assert picture.alt.startswith("Differences over their uncertainty. 3 idle current: -10.")


def test_it_is_written_beside_the_last_run_the_same_each_time(whole: Path, repaired: Path, tmp_path: Path) -> None:
    page = write_comparison(run_records(whole, repaired))
    assert page == repaired.parent / f"comparison-{whole.name[:15]}-20261231-120000.html"
    again = write_comparison(run_records(whole, repaired), tmp_path / "again.html")
    assert again.read_bytes() == page.read_bytes()


def test_a_run_that_lacks_its_documents_is_compared_all_the_same(whole: Path, repaired: Path) -> None:
    shutil.rmtree(repaired / "inputs")
    page = page_of(whole, repaired)
    assert f"Missing from {repaired.name}" in page.text
    assert any("idle current" in words_of(row) for row in page.all("tr"))
