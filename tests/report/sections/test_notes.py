"""What was found and done: notes as safe HTML, photographs as part of the page."""

from __future__ import annotations

import base64
import io
from pathlib import Path

import pytest
from PIL import Image

from benchctl.archive.notes import add_note
from benchctl.report.page import report_page
from benchctl.report.pictures.gallery import Gallery
from benchctl.report.reading.run_record import read_run_record
from benchctl.report.sections.notes import as_html
from tests.report.pages import Page, words_of


@pytest.mark.parametrize(
    ("written", "html"),
    [
        ("Relay **K2** replaced", "<p>Relay <strong>K2</strong> replaced</p>"),
        ("# Found", "<p><strong>Found</strong></p>"),
        ("<script>alert(1)</script>", "<p>&lt;script&gt;alert(1)&lt;/script&gt;</p>"),
        ("see ![a](https://harbour.example/a.png)", '<p>see !<a href="https://harbour.example/a.png">a</a></p>'),
        ("[a](javascript:alert(1))", "<p>[a](javascript:alert(1))</p>"),
        ("[a](file:///etc/passwd)", "<p>[a](file:///etc/passwd)</p>"),
        ("[a](data:text/html,x) [b](/c)", "<p>[a](data:text/html,x) [b](/c)</p>"),
        (
            "<mailto:quay@harbour.example>",
            '<p><a href="mailto:quay@harbour.example">mailto:quay@harbour.example</a></p>',
        ),
        ('```"><b>\nx\n```', '<pre><code class="language-&quot;&gt;&lt;b&gt;">x\n</code></pre>'),
    ],
    ids=["bold", "heading", "script", "picture", "program", "file", "data", "mail", "code"],
)
def test_a_note_is_shown_as_it_was_written_and_fetches_nothing(written: str, html: str) -> None:
    assert as_html(written).strip() == html


@pytest.fixture
def noted(folder: Path, tmp_path: Path) -> Path:
    Image.new("RGB", (40, 30), (200, 20, 20)).save(tmp_path / "relay.png")
    add_note(folder, "Relay **K2** was <b>burnt</b>", [tmp_path / "relay.png"])
    return folder


def page_of(folder: Path) -> Page:
    return Page.of(report_page(read_run_record(folder), Gallery((), ())))


def test_the_page_shows_notes_and_carries_their_photographs(noted: Path) -> None:
    page = page_of(noted)
    (note,) = (element for element in page.all("div") if element.get("class") == "found")
    assert words_of(note).endswith("UTC Relay K2 was <b>burnt</b>")
    (image,) = note.iter("img")
    kind, _, data = image.attrib["src"].partition(",")
    assert kind == "data:image/jpeg;base64"
    shown = Image.open(io.BytesIO(base64.b64decode(data)))
    assert shown.size == (40, 30) == (int(image.attrib["width"]), int(image.attrib["height"]))
    assert image.attrib["alt"].startswith("Photograph 1 of the note of 20")


def test_a_photograph_in_the_place_of_another_is_not_shown(noted: Path) -> None:
    """It may tell where it was taken."""
    Image.new("RGB", (9, 9)).save(noted / "photos" / "0001.jpg", comment=b"secret place")
    page = page_of(noted)
    assert [image for image in page.all("img") if image.get("class") != "logo"] == []
    assert "photos/0001.jpg is not shown: it is not the file that its note kept" in page.text


def test_what_the_program_remarks_is_no_finding_of_a_person(folder: Path) -> None:
    assert "What was found and done" not in page_of(folder).text
