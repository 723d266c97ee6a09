"""The page of a run as readers meet it: on screens, on paper, by ear, and with hostile text in every field."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser

from benchctl.report.page import report_page, write_report
from benchctl.report.pictures.gallery import Gallery
from benchctl.report.reading.run_record import read_run_record
from tests.journals import read_events, write_events
from tests.shared_runs import SharedRuns

from .visiting import Visit, visiting

HOSTILE = "<script>alert('x')</script><img src=x onerror=alert(1)> & \"quoted\" </style></title>"


@pytest.fixture(scope="module")
def folder(shared_runs: SharedRuns, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Of the main job: a copy, for its page is written into it."""
    of_all = shared_runs.of("burst_and_continuous", "hx2150").folder
    return shutil.copytree(of_all, tmp_path_factory.mktemp("runs") / of_all.name)


@pytest.fixture(scope="module")
def window(chromium: Browser, folder: Path) -> Iterator[Visit]:
    """The page as it opens, and then with all that is folded unfolded."""
    write_report(read_run_record(folder))
    with visiting(chromium) as visit:
        visit.open(folder / "report.html")
        yield visit


def unfold(window: Visit, *, is_open: bool = True) -> None:
    window.page.eval_on_selector_all("details", "(all, open) => all.forEach(one => { one.open = open; })", is_open)


def test_the_page_is_quiet_and_asks_nobody_for_anything(window: Visit) -> None:
    assert (window.complaints, window.outside_requests()) == ([], [])


def test_its_first_words_are_the_sentence_on_what_was_found(window: Visit) -> None:
    window.page.set_viewport_size({"width": 360, "height": 740})
    headline = window.page.locator(".headline")
    said = (
        r"Simulated: 1\d\d W a channel into 4 ohm, both driven, at 14.4 V: 10\d % of the rating; 19\d W for one cycle\."
    )
    assert re.fullmatch(said, headline.inner_text())
    box = headline.bounding_box()
    assert box is not None
    assert box["y"] + box["height"] <= 740, "it is seen without scrolling on a phone"


def test_no_width_of_a_screen_has_to_be_scrolled_sideways(window: Visit) -> None:
    unfold(window)
    assert window.too_wide() == {}


# The right edge of every cell that is shown, and the boxes that would scroll by themselves.
_CUT_OFF = """() => {
    const cells = [...document.querySelectorAll("td, th, caption")].filter((cell) => cell.closest("thead") === null);
    const out = cells.filter((cell) => cell.getBoundingClientRect().right > document.documentElement.clientWidth + 1);
    const boxes = [...document.querySelectorAll(".wide")].filter((box) => box.scrollWidth > box.clientWidth + 1);
    return [...out, ...boxes].map((each) => each.innerText.slice(0, 80));
}"""


@pytest.mark.parametrize("width", [360, 390, 768])
def test_no_column_of_a_table_is_cut_off_on_a_narrow_screen(window: Visit, width: int) -> None:
    unfold(window)
    window.page.set_viewport_size({"width": width, "height": 900})
    assert window.page.evaluate(_CUT_OFF) == []


def test_on_a_phone_each_cell_says_what_it_is(window: Visit) -> None:
    """The column's head stands before it, and a screen reader still finds tables, rows and heads."""
    window.page.set_viewport_size({"width": 360, "height": 900})
    row = window.page.locator("#verdicts-1").locator("xpath=../tbody/tr[1]/*")
    heads = "cell => getComputedStyle(cell, '::before').content"
    before = [each.evaluate(heads) for each in row.all() if each.is_visible()]
    assert before[:3] == ['"figure"', '"value"', '"verdict"']
    tables = window.page.get_by_role("table", name="What was held against a requirement")
    assert tables.get_by_role("columnheader", name="verdict", exact=True).count() == 1
    assert tables.get_by_role("rowheader").count() == tables.get_by_role("row").count() - 1


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_rules_of_accessibility_are_kept(window: Visit, scheme: Any) -> None:
    """Folded: what is unfolded is made of the same tables, and a browser would look at them for long."""
    unfold(window, is_open=False)
    window.page.set_viewport_size({"width": 360 if scheme == "dark" else 1280, "height": 900})
    window.page.emulate_media(color_scheme=scheme)
    assert window.serious_findings() == []


def test_what_is_folded_opens_by_the_keyboard(chromium: Browser, folder: Path, window: Visit) -> None:
    with visiting(chromium) as visit:
        page = visit.open(folder / "report.html")
        summary = page.locator("summary", has_text="Show all")
        assert not page.locator("#figures-1-1").is_visible()
        summary.first.focus()
        page.keyboard.press("Enter")
        assert page.locator("#figures-1-1").is_visible()


# -- on paper ------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def paper(chromium: Browser, folder: Path, window: Visit, tmp_path_factory: pytest.TempPathFactory) -> list[list[str]]:
    """The lines of each printed page, A4, as the page opens."""
    if shutil.which("pdftotext") is None:
        pytest.skip("pdftotext is not installed; `make clients` installs Debian's poppler-utils as root")
    file = tmp_path_factory.mktemp("paper") / "report.pdf"
    with visiting(chromium) as visit:
        visit.open(folder / "report.html").pdf(path=file, format="A4")
    text = subprocess.run(["pdftotext", "-layout", file, "-"], check=True, capture_output=True, text=True).stdout
    pages = [[" ".join(line.split()) for line in page.splitlines() if line.strip()] for page in text.split("\f")]
    return [lines for lines in pages if lines]


def test_the_main_job_prints_on_five_pages_at_most(paper: list[list[str]]) -> None:
    assert 1 < len(paper) <= 5


def test_no_heading_stands_alone_at_the_foot_of_a_printed_page(paper: list[list[str]], window: Visit) -> None:
    """Nor a table's caption or heads without a row, nor the sentence below a heading."""
    belongs_to_what_follows = "h1, h2, h3, caption span, thead tr, .figure-title, h2 + .soft"
    texts = window.page.eval_on_selector_all(belongs_to_what_follows, "all => all.map(one => one.textContent)")
    headings = {" ".join(text.split()) for text in texts}
    assert "Output power" in headings
    lasts = [lines[-1] for lines in paper[:-1]]
    ends = [
        last for last in lasts if any(last == text or (len(last) > 20 and text.endswith(last)) for text in headings)
    ]
    assert ends == []


def test_paper_says_what_it_leaves_out(paper: list[list[str]]) -> None:
    lines = [line for page in paper for line in page]
    assert any(line.startswith("Not printed: what is folded here.") for line in lines)
    assert "idle current" in " ".join(lines)


# -- hostile text --------------------------------------------------------------------------------------------------


def hostile(event: dict[str, Any]) -> dict[str, Any]:
    """The event with hostile text wherever it says something in words."""
    words = ("reason", "request", "text", "remarks", "texts", "what", "no_figures", "left_out")
    told: dict[str, Any] = {key: HOSTILE for key in words if isinstance(event.get(key), str)}
    return event | told | {key: [HOSTILE] for key in words if isinstance(event.get(key), list)}


@pytest.fixture(scope="module")
def infested(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of a copy with hostile titles, serial number, owner, notes, reasons and answers."""
    copy = shutil.copytree(folder, tmp_path_factory.mktemp("copies") / folder.name)
    quoted = HOSTILE.replace("'", "''")
    for name in ("sequence", "amplifier", "bench"):
        file = copy / "inputs" / f"{name}.yaml"
        more = (
            f"\nserial: '{quoted}'\nunit: {{owner: '{quoted}', complaint: '{quoted}'}}" if name == "amplifier" else ""
        )
        text = re.sub(
            r"(?m)^title: .*$", lambda _, more=more: f"title: '{quoted}'{more}", file.read_text(encoding="utf-8")
        )
        file.write_text(text, encoding="utf-8")
    said = {"time_s": 1.0, "wall": "2026-01-01T08:00:01.000+00:00"}
    part = dict.fromkeys(("instrument", "part", "detail", "by_hand"), HOSTILE) | {"confirmed": False}
    more_events = [
        said | {"event": "note", "text": HOSTILE, "written_by": "person", "photos": []},
        said | {"event": "hands", "request": HOSTILE, "answers": {HOSTILE: HOSTILE}},
        said | {"event": "warnings accepted", "reason": HOSTILE, "warnings": [HOSTILE]},
        said | {"event": "not watched", "texts": [HOSTILE]},
        said | {"event": "trip", "limit": HOSTILE, "value": 1.0, "unit": "V", "reason": HOSTILE},
        said | {"event": HOSTILE, HOSTILE: HOSTILE},
    ]
    events = [hostile(event) for event in read_events(copy / "journal.jsonl")]
    last = events[-1] | {"reason": HOSTILE, "exit_code": 5, "instruments": [part]}
    numbered = [*events[:-1], *more_events, last]
    write_events(copy / "journal.jsonl", (event | {"number": n} for n, event in enumerate(numbered, start=1)))
    page = copy / "infested.html"
    page.write_text(report_page(read_run_record(copy), Gallery((), ()), with_owner=True), encoding="utf-8")
    return page


def test_hostile_text_in_every_field_appears_as_text(visit: Visit, infested: Path) -> None:
    dialogs: list[str] = []
    visit.page.on("dialog", lambda dialog: (dialogs.append(dialog.message), dialog.dismiss()))
    page = visit.open(infested)
    unfold(visit)
    assert (dialogs, visit.complaints, visit.outside_requests()) == ([], [], [])
    assert page.locator("script, img[src=x]").count() == 0
    assert page.locator("[onerror]").count() == 0
    shown = page.locator("body").inner_text()
    assert "the journal is broken" not in shown.lower()
    assert shown.count("<script>alert('x')</script>") > 12
    assert HOSTILE in page.locator("h1").inner_text()
    assert visit.too_wide() == {}
