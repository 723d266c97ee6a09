"""The owner's sheet stays on one side of A4 and of Letter, however much there is to say, and is a page in order."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser

from benchctl.archive.notes import add_note
from benchctl.report.pictures.gallery import Gallery
from benchctl.report.pictures.power import power_pictures
from benchctl.report.reading.run_record import read_run_record
from benchctl.report.sheet.printing import pages_of, print_page
from benchctl.report.sheet.writing import PaperName, sheet_page
from tests.report.conftest import Event, changed, rewrite
from tests.shared_runs import SharedRuns

from .visiting import Visit, visiting


def with_long_names(folder: Path) -> Path:
    """Every text as long as a document allows, in words and in one word."""
    words, word = ("Quay " * 40)[:199], "W" * 200
    Image.new("RGBA", (300, 300), (10, 90, 160, 255)).save(folder / "inputs" / "quay.png")
    added = {
        "bench": f"workshop: {{name: {words}, contact: {words}, logo: quay.png, tester: {words}}}",
        "amplifier": f"serial: {word}\n"
        f"unit: {{owner: {words}, contact: {words}, reference: {word}, complaint: {words}}}",
    }
    for name, text in added.items():
        file = folder / "inputs" / f"{name}.yaml"
        whole = file.read_text("utf-8").replace("title: HX 2150", f"title: {words}")
        file.write_text(f"{whole}\n{text}\n", encoding="utf-8")
    return folder


def with_much_to_say(folder: Path) -> Path:
    """Every figure judged and doubted, every kind of warning, a limit that tripped, an instrument that is not confirmed
    off, and long notes."""
    remark = "the level is far below the plate and nothing on this bench can tell why that is so " * 3

    def edit(events: list[Event]) -> list[Event]:
        for event in events:
            if event["event"] == "figures":
                verdicts = ("fails", "inconclusive", "passes")
                event["figures"] = [
                    figure | {"verdict": verdicts[n % 3], "bound_reason": remark, "bound": "at least"}
                    for n, figure in enumerate(event["figures"])
                ]
        more = [
            {"event": "not watched", "texts": [remark] * 4},
            {"event": "warnings accepted", "reason": remark, "warnings": [remark] * 5},
            {"event": "search", "step": "3 measure_burst", "remarks": [remark] * 5},
        ]
        between = {"time_s": events[-2]["time_s"], "wall": events[-2]["wall"]}
        return [*events[:-1], *(between | event for event in more), events[-1]]

    rewrite(folder, edit)
    part = {
        "instrument": "supply",
        "part": "output 'main' off",
        "confirmed": False,
        "detail": remark,
        "by_hand": remark,
    }
    changed(folder, "run ended", reason=remark, exit_code=4, safe=False, instruments=[part])
    for _ in range(3):
        add_note(folder, f"**Found**\n\n- {remark}\n- {'X' * 300}")
    return folder


Sheets = dict[tuple[str, PaperName], Path]


@pytest.fixture(scope="module")
def sheets(shared_runs: SharedRuns, tmp_path_factory: pytest.TempPathFactory) -> Sheets:
    """Of each run on both papers; the picture is drawn once."""
    folder = shared_runs.of("burst_and_continuous", "hx2150").folder

    def copy(name: str) -> Path:
        return shutil.copytree(folder, tmp_path_factory.mktemp(name) / folder.name)

    folders = {
        "long names": with_long_names(copy("long")),
        "much to say": with_much_to_say(copy("much")),
        "both": with_much_to_say(with_long_names(copy("both"))),
    }
    records = {which: read_run_record(path) for which, path in folders.items()}
    gallery, out = Gallery(tuple(power_pictures(read_run_record(folder))), ()), tmp_path_factory.mktemp("sheets")
    papers: tuple[PaperName, ...] = ("a4", "letter")
    sheets = {(which, paper): out / f"{which}-{paper}.html" for which in records for paper in papers}
    for (which, paper), path in sheets.items():
        path.write_text(sheet_page(records[which], gallery, paper), encoding="utf-8")
    return sheets


@pytest.fixture(scope="module")
def window(chromium: Browser) -> Iterator[Visit]:
    with visiting(chromium) as visit:
        yield visit


# How much higher the words are than their paper, and how high the picture is, in CSS pixels of 1/96 inch.
_ON_PAPER = """() => {
    const main = document.querySelector("main"), last = main.lastElementChild.getBoundingClientRect();
    const picture = document.querySelector(".picture")?.getBoundingClientRect();
    return [last.bottom - main.getBoundingClientRect().bottom, picture?.height ?? null];
}"""


# CSS Paged Media 3, 7.1, in points of 1/72 inch; and the width between margins of 12 mm, in pixels of 1/96 inch.
MEDIA_BOX = {"a4": b"/MediaBox [0 0 594.95996 841.91998]", "letter": b"/MediaBox [0 0 612 792]"}
WIDTH_PX = {"a4": round(186.0 / 25.4 * 96.0), "letter": round(191.9 / 25.4 * 96.0)}


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("which", ["long names", "much to say", "both"])
def test_the_sheet_is_one_page(window: Visit, sheets: Sheets, which: str, paper: PaperName) -> None:
    page = window.open(sheets[which, paper])
    pdf = page.pdf(prefer_css_page_size=True)
    assert pages_of(pdf) == 1
    assert MEDIA_BOX[paper] in pdf
    page.set_viewport_size({"width": WIDTH_PX[paper], "height": 1000})
    page.emulate_media(media="print")
    beyond, picture = page.evaluate(_ON_PAPER)
    page.emulate_media(media="null")
    assert beyond <= 1.0, "nothing runs over the foot of the sheet"
    if which != "both":  # where there is no room for a picture at all, there is none
        assert picture >= 30.0 / 25.4 * 96.0, "the picture can be read"


def test_the_sheet_is_a_page_in_order_on_a_screen_too(window: Visit, sheets: Sheets) -> None:
    window.open(sheets["both", "a4"])
    assert window.serious_findings() == []
    assert window.too_wide() == {}
    assert (window.complaints, window.outside_requests()) == ([], [])


@pytest.mark.usefixtures("chromium")
def test_the_program_prints_it_itself(sheets: Sheets, tmp_path: Path) -> None:
    said = print_page(sheets["both", "letter"], tmp_path / "sheet.pdf")
    assert said.why_not == ""
    assert pages_of((tmp_path / "sheet.pdf").read_bytes()) == 1
    assert [path.name for path in tmp_path.iterdir()] == ["sheet.pdf"]
