"""Curves of several runs over each other: told apart without colours, each on its own grid, bounds as bounds."""

from __future__ import annotations

import struct
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import pytest
from matplotlib.container import ErrorbarContainer
from matplotlib.markers import CARETUP

from benchctl.archive.journal.entries import FiguresEntry
from benchctl.measure.budget.figure import Figure
from benchctl.measure.conditions import Conditions
from benchctl.report.comparison.compared import Comparison, compare
from benchctl.report.comparison.sentence import sentence_of
from benchctl.report.frames.publishing import write_pictures
from benchctl.report.frames.sheets import FRAME
from benchctl.report.pictures.canvas import drawn_on
from benchctl.report.pictures.compared.overlays import comparison_gallery
from benchctl.report.pictures.compared.power import power_overlays
from benchctl.report.pictures.compared.response import response_overlays
from benchctl.report.reading.run_record import RunRecord, read_run_record

CLEAN = Conditions(4.0, 1e3, 0.8, "clean", 14.4, ("A", "B"), thd_limit=0.01)


@pytest.fixture(scope="module")
def run_record(whole: Path) -> RunRecord:
    return read_run_record(whole)


def of_units(run_record: RunRecord, *entries: Iterable[FiguresEntry]) -> Comparison:
    """A comparison of units that differ in their entries only."""
    assert run_record.amplifier is not None
    units = [run_record.amplifier.model_copy(update={"serial": str(number)}) for number in range(len(entries))]
    return compare(
        [replace(run_record, amplifier=unit, entries=tuple(own)) for unit, own in zip(units, entries, strict=True)]
    )


def test_a_comparison_shows_power_distortion_and_response_of_both_runs(run_record: RunRecord) -> None:
    pictures = comparison_gallery(of_units(run_record, run_record.entries, run_record.entries)).pictures
    assert [picture.name for picture in pictures] == [
        "power-by-length-1",
        "distortion-compared-1",
        "gain-compared-4-ohm",
        "differences",
    ]
    for picture in pictures[:-1]:
        assert "serial 0" in picture.alt
        assert "serial 1" in picture.alt


def test_runs_and_channels_can_be_told_apart_without_colour(run_record: RunRecord) -> None:
    with drawn_on(FRAME.sheet) as kept:
        comparison_gallery(of_units(run_record, run_record.entries, run_record.entries))
    for name in ("power-by-length-1", "distortion-compared-1", "gain-compared-4-ohm"):
        handles, _ = kept[name].axes[0].get_legend_handles_labels()
        lines = [handle.lines[0] if isinstance(handle, ErrorbarContainer) else handle for handle in handles]
        looks = [(line.get_linestyle(), str(line.get_marker())) for line in lines]
        assert len(looks) >= 2
        assert len(set(looks)) == len(looks), name


def swept(watts: dict[float, float], bound: str = "") -> list[FiguresEntry]:
    def entry(hertz: float, power: float) -> FiguresEntry:
        figure = Figure("continuous_power", power, "W", None if bound else 2.0, channel="A", bound=bound)  # type: ignore[arg-type]
        conditions = replace(CLEAN, frequency_hz=hertz)
        return FiguresEntry(f"5 measure_continuous [{hertz} Hz]", "continuous", {}, {}, {}, conditions, [figure])

    return [entry(hertz, power) for hertz, power in watts.items()]


def test_power_against_frequency_is_drawn_for_runs_with_other_grids(run_record: RunRecord) -> None:
    coarse, fine = {20.0: 90.0, 1e3: 150.0, 20e3: 140.0}, {30.0: 95.0, 1e3: 159.0, 5e3: 158.0, 15e3: 150.0}
    comparison = of_units(run_record, swept(coarse), swept(fine))
    with drawn_on(FRAME.sheet) as kept:
        (picture,) = power_overlays(comparison)
    assert picture.title == "Clean power into 4 ohm against frequency"
    drawn = [list(map(float, container.lines[0].get_xdata())) for container in kept[picture.name].axes[0].containers]
    assert drawn == [list(coarse), list(fine)]
    lead = sentence_of(comparison).lead  # 1 kHz is the only frequency of both
    assert lead == "continuous power into 4 ohm, channel A: serial 0 150 W, serial 1 159 W"


def test_a_bound_is_drawn_as_one(run_record: RunRecord) -> None:
    watts = {20.0: 90.0, 1e3: 150.0, 20e3: 140.0}
    with drawn_on(FRAME.sheet) as kept:
        (picture,) = power_overlays(of_units(run_record, swept(watts), swept(watts, "at least")))
    assert picture.caption.endswith("Arrow upward: at least so much.")
    assert CARETUP in [line.get_marker() for line in kept[picture.name].axes[0].lines]


def test_a_picture_of_what_somebody_broke_is_told_and_the_others_are_drawn(run_record: RunRecord) -> None:
    comparison = of_units(run_record, run_record.entries, run_record.entries)
    broken = tuple(replace(step, settings={"thd_n": "one"}) for step in run_record.steps)
    runs = tuple(replace(run, steps=broken) for run in comparison.run_records)
    gallery = comparison_gallery(replace(comparison, run_records=runs))
    assert [told.partition(":")[0] for told in gallery.missing] == ["There is no picture of distortion of the runs"]
    assert "power-by-length-1" in [picture.name for picture in gallery.pictures]


def test_one_run_alone_is_no_picture_of_a_comparison(run_record: RunRecord) -> None:
    comparison = of_units(run_record, run_record.entries, ())
    assert list(power_overlays(comparison)) == []
    assert list(response_overlays(comparison)) == []


def test_the_pictures_of_a_comparison_are_published_with_its_sentence(run_record: RunRecord, tmp_path: Path) -> None:
    comparison = of_units(run_record, swept({1e3: 132.0}), swept({1e3: 159.0}))
    folder = write_pictures(list(comparison.run_records), tmp_path / "comparison-x.html")
    assert folder == tmp_path / "comparison-x-pictures"
    png = (folder / "differences-frame.png").read_bytes()
    assert struct.unpack(">II", png[16:24]) == (1920, 1080)
    text = (folder / "pictures.txt").read_text(encoding="utf-8")
    assert str(sentence_of(comparison)) in text
    assert "Simulated figures are not measurements." in text
