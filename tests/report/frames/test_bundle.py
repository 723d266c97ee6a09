"""The bundle of pictures: every picture in both forms, readable from afar, and honest where the page's text is gone."""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest
from matplotlib.figure import Figure as Drawing

from benchctl.errors import UsageError
from benchctl.report.frames.bundle import write_bundle
from benchctl.report.frames.lettering import Said, letter
from benchctl.report.frames.publishing import folder_beside
from benchctl.report.frames.sheets import FRAME, SMALLEST_PX
from benchctl.report.frames.sources import said_of
from benchctl.report.headline.writing import headline_of
from benchctl.report.pictures.canvas import Picture, drawn_on
from benchctl.report.pictures.cycles import cycle_pictures
from benchctl.report.pictures.distortion import distortion_pictures
from benchctl.report.pictures.power import power_pictures
from benchctl.report.pictures.response import response_pictures
from benchctl.report.pictures.trend import trend_pictures
from benchctl.report.reading.run_record import RunRecord, read_run_record

NOTHING = Said("", "", "", "")
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def run_record(whole: Path) -> RunRecord:
    return read_run_record(whole)


@pytest.fixture(scope="module")
def bundle(run_record: RunRecord, tmp_path_factory: pytest.TempPathFactory) -> Path:
    def draw() -> list[Picture]:
        return [*power_pictures(run_record), *trend_pictures(run_record)]

    return write_bundle(tmp_path_factory.mktemp("out") / "pictures", draw, said_of(run_record))


def words_in(file: Path) -> list[str]:
    return [element.text or "" for element in ElementTree.parse(file).iter(f"{SVG}text")]


def test_every_picture_is_there_alone_and_in_a_frame_as_svg_and_as_png(bundle: Path) -> None:
    stems = ("power", "power-frame", "trend", "trend-frame")
    assert {file.name for file in bundle.iterdir()} == {
        *(f"{stem}.{ending}" for stem in stems for ending in ("svg", "png")),
        "pictures.txt",
    }


@pytest.mark.parametrize("name", ["power", "trend"])
def test_a_frame_is_exactly_1920_by_1080(bundle: Path, name: str) -> None:
    """The size is in the first chunk of a PNG (ISO/IEC 15948, 11.2.2): two numbers of four bytes behind its name."""
    png = (bundle / f"{name}-frame.png").read_bytes()
    assert png[12:16] == b"IHDR"
    assert struct.unpack(">II", png[16:24]) == (1920, 1080)
    root = ElementTree.parse(bundle / f"{name}-frame.svg").getroot()
    assert (root.get("width"), root.get("height")) == ("1920", "1080")


@pytest.mark.parametrize("name", ["power", "trend"])
def test_no_letter_of_a_frame_is_too_small(bundle: Path, name: str) -> None:
    root = ElementTree.parse(bundle / f"{name}-frame.svg").getroot()
    scale = 1080.0 / float(root.attrib["viewBox"].split()[3])
    sizes = [float(found) for e in root.iter(f"{SVG}text") for found in re.findall(r"([\d.]+)px", e.attrib["style"])]
    assert len(sizes) > 10
    assert min(sizes) * scale >= SMALLEST_PX


@pytest.mark.parametrize("name", ["power", "power-frame", "trend", "trend-frame"])
def test_what_is_simulated_says_so_in_every_file(bundle: Path, name: str) -> None:
    assert "Simulated figures are not measurements." in words_in(bundle / f"{name}.svg")
    label = ElementTree.parse(bundle / f"{name}.svg").getroot().attrib["aria-label"]
    assert label.startswith("Simulated figures are not measurements.")


def test_a_frame_has_title_headline_what_its_marks_mean_and_source(run_record: RunRecord, bundle: Path) -> None:
    said = words_in(bundle / "power-frame.svg")
    assert "Clean power against load and length of burst" in said
    headline = headline_of(run_record)
    assert headline.value.endswith("W")
    assert headline.value in said
    assert f"{headline.rest} {'; '.join(clause.text for clause in headline.clauses)}" in " ".join(said)
    assert "Bars: value ± U." in said
    (source,) = (text for text in said if text.startswith("HX 2150"))
    assert re.fullmatch(
        r"HX 2150 · \d{4}-\d\d-\d\d · benchctl [\d.]+ · Bench 2 of the ferry-amplifier workshop", source
    )


def test_a_file_stands_alone_on_white(bundle: Path) -> None:
    text = (bundle / "power.svg").read_text(encoding="utf-8")
    assert "var(" not in text
    assert "fill: #ffffff" in text


def test_the_text_beside_the_pictures_says_in_words_what_each_shows(bundle: Path) -> None:
    text = (bundle / "pictures.txt").read_text(encoding="utf-8")
    assert re.search(r"\n\npower\nClean power against .*\n.*Channel A, 4 ohm.*\nBars: value ± U\. From captures/", text)


def test_the_same_run_gives_the_same_files(run_record: RunRecord, bundle: Path, tmp_path: Path) -> None:
    again = write_bundle(tmp_path / "pictures", lambda: list(power_pictures(run_record)), said_of(run_record))
    for file in again.glob("power*"):
        assert file.read_bytes() == (bundle / file.name).read_bytes()


def test_a_bundle_takes_the_place_of_an_earlier_one_and_of_nothing_else(tmp_path: Path) -> None:
    folder = write_bundle(tmp_path / "pictures", lambda: [], NOTHING)
    (folder / "gone-frame.png").write_bytes(b"of an earlier time")
    assert [file.name for file in write_bundle(folder, lambda: [], NOTHING).iterdir()] == ["pictures.txt"]
    (tmp_path / "holidays").mkdir()
    (tmp_path / "holidays" / "ferry.png").write_bytes(b"somebody's")
    with pytest.raises(UsageError, match="is not a folder of pictures from benchctl"):
        write_bundle(tmp_path / "holidays", lambda: [], NOTHING)
    assert (tmp_path / "holidays" / "ferry.png").read_bytes() == b"somebody's"


def test_a_bundle_stands_beside_its_page() -> None:
    one = Path("runs/one")
    assert folder_beside(one / "report.html", one) == one / "pictures"
    assert folder_beside(Path("for-the-owner.html"), one) == Path("for-the-owner-pictures")


# -- what is drawn on a frame --------------------------------------------------------------------------------------


def drawings(*pictures: Iterator[Picture]) -> list[Drawing]:
    with drawn_on(FRAME.sheet) as kept:
        for each in pictures:
            list(each)
    return list(kept.values())


def test_words_of_any_length_stay_in_the_frame_and_off_the_picture(run_record: RunRecord) -> None:
    (figure,) = drawings(power_pictures(run_record))
    before = len(figure.texts)
    long = "An amplifier of the saloon deck with a name that does not end " * 2
    letter(figure, FRAME, long, long, Said("159 W", long + "W" * 90, long, long, long))
    lettered = [text.get_window_extent() for text in figure.texts[before:]]
    others = [figure.axes[0].get_tightbbox(), figure.legends[0].get_window_extent()]
    assert len(lettered) > 6
    for box in lettered:
        assert -1.0 <= box.x0 < box.x1 <= 1921.0
        assert -1.0 <= box.y0 < box.y1 <= 1081.0
        assert not any(box.overlaps(other) for other in others if other is not None)


def test_a_bound_is_drawn_as_one_and_said(run_record: RunRecord) -> None:
    def as_bounds(record: RunRecord) -> RunRecord:
        entries = (
            replace(entry, figures=[replace(f, bound="at least", expanded_uncertainty=None) for f in entry.figures])
            for entry in record.entries
        )
        return replace(record, entries=tuple(entries))

    with drawn_on(FRAME.sheet) as kept:
        (picture,) = power_pictures(as_bounds(run_record))
    assert "Arrow upward: at least so much." in picture.caption
    markers = {str(line.get_marker()) for line in kept["power"].axes[0].lines}
    assert str(10) in markers  # matplotlib's number of a caret that points upward


def test_series_can_be_told_apart_without_colour(run_record: RunRecord) -> None:
    shown = drawings(
        power_pictures(run_record),
        cycle_pictures(run_record),
        distortion_pictures(run_record),
        response_pictures(run_record),
        trend_pictures(run_record),
    )
    for panel in (panel for figure in shown for panel in figure.axes):
        named = [line for line in panel.get_lines() if not str(line.get_label()).startswith("_")]
        looks = [(line.get_linestyle(), str(line.get_marker()), line.get_fillstyle()) for line in named]
        assert len(set(looks)) == len(looks), panel.get_title(loc="left")
