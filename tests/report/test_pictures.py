"""The pictures of a page: in words too, in the page's own colours, true to the figures, and none that lies."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchctl.archive.captures import load_capture
from benchctl.archive.journal.entries import FiguresEntry, context_of
from benchctl.measure.analyses.burst_figures import cycle_powers
from benchctl.measure.budget.figure import Figure
from benchctl.measure.conditions import Conditions, Drive
from benchctl.measure.signal.distortion import tone_spectrum
from benchctl.report.page import report_page
from benchctl.report.pictures.distortion import distortion_pictures
from benchctl.report.pictures.efficiency import efficiency_pictures
from benchctl.report.pictures.envelope import envelope
from benchctl.report.pictures.gallery import Gallery, gallery_of
from benchctl.report.pictures.power import power_pictures
from benchctl.report.pictures.spectrum import harmonic_db
from benchctl.report.reading.run_record import RunRecord, read_run_record
from tests.report.conftest import changed
from tests.report.pages import Page, words_of


@pytest.fixture(scope="module")
def run_record(whole: Path) -> RunRecord:
    return read_run_record(whole)


@pytest.fixture(scope="module")
def gallery(run_record: RunRecord) -> Gallery:
    return gallery_of(run_record)


@pytest.fixture(scope="module")
def page(run_record: RunRecord, gallery: Gallery) -> Page:
    return Page.of(report_page(run_record, gallery))


def test_a_run_has_a_picture_of_all_that_it_measured(gallery: Gallery) -> None:
    assert gallery.missing == ()
    kinds = [re.sub(r"-\d+$", "", picture.name) for picture in gallery.pictures]
    assert kinds == ["power", "cycles", "waveform", "distortion", "spectrum", "response", "trend"]


def test_every_picture_has_a_caption_and_says_in_words_what_it_shows(page: Page) -> None:
    figures = page.all("figure")
    assert len(figures) == len(page.all("svg")) == 7
    for figure in figures:
        (svg,) = figure.iter("svg")
        assert svg.get("role") == "img"
        assert len(svg.get("aria-label", "")) > 40
        (caption,) = figure.iter("figcaption")
        assert words_of(caption).startswith("Simulated.")
        assert re.search(r"captures/|journal|trend\.csv", words_of(caption))


def test_a_caption_names_captures_that_are_there(whole: Path, gallery: Gallery) -> None:
    named = {name for picture in gallery.pictures for name in re.findall(r"captures/\S+\.npz", picture.caption)}
    assert len(named) > 4
    assert [name for name in named if not (whole / name).is_file()] == []


def test_pictures_have_no_colours_but_those_of_the_page(gallery: Gallery) -> None:
    """So they follow it into the dark, and onto paper."""
    for picture in gallery.pictures:
        colours = re.findall(r"(?:fill|stroke): ([^;\"]+)", picture.svg)
        assert colours
        assert {colour for colour in colours if colour != "none" and not colour.startswith("var(--")} == set()


def test_two_pictures_share_no_id_and_every_reference_finds_its_own(page: Page) -> None:
    ids = Counter(element.get("id") for element in page.root.iter() if element.get("id"))
    assert [name for name, count in ids.items() if count > 1] == []
    values = [str(value) for element in page.root.iter() for value in element.attrib.values()]
    referred = {found for value in values for found in re.findall(r"^#(\S+)$|url\(#(\S+?)\)", value) for found in found}
    labelled = {name for element in page.root.iter() for name in element.get("aria-labelledby", "").split()}
    assert (referred | labelled) - {""} <= set(ids)


def test_a_style_of_a_picture_does_not_reach_the_page(page: Page) -> None:
    assert [element for svg in page.all("svg") for element in svg.iter("style")] == []


def test_the_same_run_gives_the_same_pictures(run_record: RunRecord, gallery: Gallery) -> None:
    assert gallery_of(run_record) == gallery


def bursts(run_record: RunRecord) -> Sequence[FiguresEntry]:
    return [entry for entry in run_record.entries if entry.analysis == "burst"]


@pytest.mark.parametrize(("which", "choose"), [("first", 0), ("last", -1), ("highest", max), ("lowest", min)])
def test_the_cycles_that_are_marked_are_those_of_the_figures(
    whole: Path, run_record: RunRecord, which: str, choose: object
) -> None:
    """Figures are kept to ten digits."""
    entry = bursts(run_record)[-1]
    for channel, watts in cycle_powers(load_capture(whole / entry.captures["full"]), context_of(entry)).items():
        assert watts.size == 6
        (figure,) = (f for f in entry.figures if (f.name, f.channel) == (f"burst_power_{which}", channel))
        chosen = watts[choose] if isinstance(choose, int) else choose(watts)  # type: ignore[operator]
        assert figure.value == pytest.approx(chosen, rel=1e-9)


def test_a_picture_whose_capture_is_gone_is_told_and_the_others_are_drawn(folder: Path) -> None:
    for capture in (folder / "captures").glob("*burst*"):
        capture.unlink()
    gallery = gallery_of(read_run_record(folder))
    assert {picture.name for picture in gallery.pictures} >= {"power", "distortion-1", "trend"}
    assert [told.partition(":")[0] for told in gallery.missing] == [
        "There is no picture of the cycles of a burst",
        "There is no picture of a burst's waveform",
    ]


def test_a_picture_of_what_somebody_broke_is_told(folder: Path) -> None:
    gallery = gallery_of(read_run_record(changed(folder, "step started", settings={"thd_n": "one"})))
    assert [told.partition(":")[0] for told in gallery.missing] == ["There is no picture of distortion against power"]


# -- decimation ----------------------------------------------------------------------------------------------------


def test_every_sample_lies_within_the_band_of_its_column() -> None:
    x = np.arange(10_007.0)
    y = np.sin(x * 0.7) * np.cos(x * 0.01)
    found = envelope(x, y, 100)
    assert found.x.size == 100
    nearest = np.abs(x[:, np.newaxis] - found.x).argmin(axis=1)
    for number in range(100):
        inner = np.flatnonzero(nearest == number)[1:-1]  # a column's edge may lie a sample to either side
        assert found.low[number] <= y[inner].min()
        assert found.high[number] >= y[inner].max()
    assert (found.low.min(), found.high.max()) == (y.min(), y.max())


def test_a_signal_as_fast_as_the_columns_is_not_aliased_into_a_slow_one() -> None:
    """A cycle a column: every hundredth sample alone would show a straight line."""
    x = np.arange(10_000.0)
    found = envelope(x, np.sin(2.0 * np.pi * x / 100.0), 100)
    assert np.all(found.high > 0.99)
    assert np.all(found.low < -0.99)


def test_a_spike_of_one_sample_is_not_lost() -> None:
    y = np.zeros(100_000)
    y[54_321] = 1.0
    assert envelope(np.arange(100_000.0), y, 50).high.max() == 1.0


def test_a_record_that_fits_is_shown_as_it_is() -> None:
    x = np.arange(200.0)
    found = envelope(x, x**2, 100)
    assert found.low is found.high
    assert np.array_equal(found.low, x**2)


# -- distortion ----------------------------------------------------------------------------------------------------


def test_distortion_stands_against_the_power_in_the_load(run_record: RunRecord) -> None:
    """Of 4 ohm at A, workshop.yaml has measured 4.013 ohm: 10 V RMS into it are 24.9 W, 20 V are 99.7 W."""
    exposures = [
        {"level_v": volts / 31.0, "distortion": 0.001, "is_bound": False, "channel": "A", "output_v": volts}
        for volts in (20.0, 10.0, 15.0)
    ]
    events = tuple(e | {"exposures": exposures} if e["event"] == "search" else e for e in run_record.events)
    (picture,) = distortion_pictures(replace(run_record, events=events))
    assert picture.title == "Distortion against output power into 4 ohm at 1 kHz from 14.4 V"
    assert "steady tone: 3 exposures, 0.100 % at 24.9 W, 0.100 % at 99.7 W; clean power " in picture.alt


def test_a_search_of_an_earlier_version_which_kept_no_voltage_has_no_such_picture(run_record: RunRecord) -> None:
    exposures = [{"level_v": volts, "distortion": 0.001, "is_bound": False} for volts in (0.1, 0.2, 0.3)]
    events = tuple(e | {"exposures": exposures} if e["event"] == "search" else e for e in run_record.events)
    assert list(distortion_pictures(replace(run_record, events=events))) == []


def test_a_harmonic_stands_as_far_below_the_tone_as_it_is() -> None:
    """A hundredth is -40 dB and a thousandth -60 dB, by the definition of the decibel."""
    times = np.arange(20_000) * 1e-5
    values = (
        10.0 * np.sin(2e3 * np.pi * times) + 0.1 * np.sin(6e3 * np.pi * times) + 0.01 * np.cos(10e3 * np.pi * times)
    )
    tone = tone_spectrum(values, 1e-5, 1e3)
    assert harmonic_db(tone, 3) == pytest.approx(-40.0, abs=0.01)
    assert harmonic_db(tone, 5) == pytest.approx(-60.0, abs=0.1)
    assert harmonic_db(tone, 60) is None, "beyond half of the sample rate"


# -- what a sequence swept -----------------------------------------------------------------------------------------


def tone(frequency_hz: float, power_w: float, drive: Drive = "clean") -> FiguresEntry:
    power = Figure("continuous_power", power_w, "W", 1.0, 2.0, channel="A", capture="captures/0001-continuous.npz")
    figures = [power, Figure("efficiency", 0.5, "1", 0.01, 2.0), Figure("supply_current", 9.0, "A", 0.1, 2.0)]
    conditions = Conditions(4.0, frequency_hz, 0.8, drive, 14.4, ("A", "B"))
    return FiguresEntry("3.1 measure_continuous", "continuous", {}, {}, {}, conditions, figures)


def test_power_at_several_frequencies_stands_against_frequency(run_record: RunRecord) -> None:
    swept = replace(run_record, entries=tuple(tone(hertz, 100.0) for hertz in (20.0, 1e3, 20e3)))
    (picture,) = power_pictures(swept)
    assert picture.title == "Clean power against frequency"
    assert "Channel A, 4 ohm, 14.4 V: 20 Hz 100.0 ± 1.0 W, 1 kHz 100.0 ± 1.0 W, 20 kHz 100.0 ± 1.0 W." in picture.alt


def test_power_at_set_levels_is_in_no_picture_of_clean_power(run_record: RunRecord) -> None:
    swept = replace(run_record, entries=tuple(tone(hertz, 100.0, "set") for hertz in (20.0, 1e3, 20e3)))
    assert list(power_pictures(swept)) == []


def test_several_levels_into_one_load_make_a_picture_of_efficiency(run_record: RunRecord) -> None:
    levels = tuple(tone(1e3, power_w) for power_w in (80.0, 10.0, 40.0, 20.0))
    assert list(efficiency_pictures(replace(run_record, entries=levels[:3]))) == []
    (picture,) = efficiency_pictures(replace(run_record, entries=levels))
    assert picture.alt.endswith(
        "50.0 ± 1.0 % at 10 W, 50.0 ± 1.0 % at 20 W, 50.0 ± 1.0 % at 40 W, 50.0 ± 1.0 % at 80 W."
    )


def test_the_frequency_of_a_response_has_its_unit(gallery: Gallery) -> None:
    (response,) = (picture for picture in gallery.pictures if picture.name == "response-1")
    assert re.search(r">1k</text>", response.svg)
    assert "frequency, Hz" in response.svg
