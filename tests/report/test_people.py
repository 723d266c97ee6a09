"""What names a person is on no page that is published, whatever became of the run folder."""

from __future__ import annotations

import html
import json
from collections.abc import Callable
from pathlib import Path

import pytest

from benchctl.report.comparison_page import write_comparison
from benchctl.report.page import report_page, write_report
from benchctl.report.pictures.gallery import Gallery
from benchctl.report.reading.run_record import read_run_record
from benchctl.report.summary import comparison_summary, summary_of
from tests.report.conftest import PEOPLE, rewrite
from tests.report.pages import Page

NO_PICTURES = Gallery((), ())


def named_in(text: str) -> list[str]:
    """Who is named in it, plainly or escaped as in HTML or JSON."""
    plain = html.unescape(text)
    return [name for name in PEOPLE if name.lower() in plain.lower()]


def text_of(folder: Path, *, with_owner: bool = False) -> str:
    return report_page(read_run_record(folder), NO_PICTURES, with_owner=with_owner)


def test_no_file_that_is_published_names_a_person(whole: Path, folder: Path, tmp_path: Path) -> None:
    """Page with its pictures, comparison, tables, summaries; the folder itself keeps its documents as they were."""
    record = read_run_record(whole)
    page = write_report(record, tmp_path / "page.html")
    assert "<svg" in page.read_text("utf-8")
    comparison = write_comparison([record, read_run_record(folder)], tmp_path / "comparison.html")
    tables = [(whole / name).read_text("utf-8") for name in ("figures.csv", "trend.csv")]
    summaries = json.dumps([summary_of(record), comparison_summary([record, read_run_record(folder)])])
    for text in (page.read_text("utf-8"), comparison.read_text("utf-8"), *tables, summaries, str(page)):
        assert named_in(text) == []
    kept = "".join((whole / "inputs" / name).read_text("utf-8") for name in ("amplifier.yaml", "bench.yaml"))
    assert named_in(kept) == list(PEOPLE)


def test_the_page_tells_the_complaint_and_the_workshop_with_its_logo(whole: Path) -> None:
    page = Page.of(text_of(whole))
    assert "Left channel cuts out when warm" in page.text
    assert "Eastharbour Audio Repairs" in page.text
    (logo,) = page.all("img")
    assert logo.attrib["src"].startswith("data:image/png;base64,")


def test_a_page_that_names_people_is_another_file_and_says_what_it_is(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("benchctl.report.page.gallery_of", lambda _: NO_PICTURES)  # they take all the time
    text = text_of(folder, with_owner=True)
    assert named_in(text) == list(PEOPLE)
    assert "This page names people. Do not publish it." in text
    written = write_report(read_run_record(folder), with_owner=True)
    assert written.name == "report-with-owner.html"
    assert not (folder / "report.html").exists()


def change(name: str, old: str, new: str) -> Callable[[Path], object]:
    def changed(folder: Path) -> None:
        file = folder / "inputs" / name
        text = file.read_text("utf-8")
        assert old in text
        file.write_text(text.replace(old, new), encoding="utf-8")

    return changed


def tear(folder: Path) -> None:
    """As if the run had been killed while it wrote its documents into the journal, and was gone on with."""

    def torn(events: list[dict[str, object]]) -> list[dict[str, object]]:
        place = next(place for place, event in enumerate(events) if event["event"] == "inputs kept")
        piece = json.dumps(events[place])
        return [*events[:place], events[place] | {"event": "torn_line", "torn": piece}, *events[place + 1 :]]

    rewrite(folder, torn)


@pytest.mark.parametrize(
    ("harm", "said"),
    [
        (change("amplifier.yaml", "owner: M. Lindqvist", "owner: N. Lindqvist"), "is another one, not shown"),
        (change("bench.yaml", "tester: J. Okafor}", "tester: K. Okafor}"), "is another one, not shown"),
        (change("amplifier.yaml", "owner: M. Lindqvist", "owner: [M. Lindqvist]"), "is written here is not accepted"),
        (change("bench.yaml", "tester: J. Okafor}", "tester: J. Okafor"), "is written here is not accepted"),
        (change("amplifier.yaml", "owner: M. Lindqvist", "Lindqvist: yes"), "is written here is not accepted"),
        (tear, "torn_line"),
    ],
    ids=["another owner", "another tester", "owner of a wrong kind", "unreadable", "owner as a key", "torn journal"],
)
def test_a_changed_folder_tells_of_the_change_and_not_of_the_person(
    folder: Path, harm: Callable[[Path], object], said: str
) -> None:
    harm(folder)
    text = text_of(folder)
    assert said in html.unescape(text)
    assert named_in(text) == []
