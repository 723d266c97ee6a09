"""`response_and_filters` on the amplifier whose low-pass is switched in: noise ends a curve, and nothing else."""

from __future__ import annotations

import math
from pathlib import Path

import pandas as pd
import pytest
from scipy.optimize import brentq

from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.journal import read_journal
from benchctl.archive.tables.figures import read_figures
from benchctl.launch.run import Documents, run
from benchctl.report.pictures.response import response_pictures
from benchctl.report.reading.run_record import read_run_record
from benchmarks.nobody import Nobody

REFERENCE_HZ = 40.0


def magnitude(frequency_hz: float) -> float:
    """Of the two filters in the amplifier's file, Butterworth both: low-pass of 80 Hz, high-pass of 20 Hz."""
    low = 1.0 / math.sqrt(1.0 + (frequency_hz / 80.0) ** 8)
    return low / math.sqrt(1.0 + (20.0 / frequency_hz) ** 4)


def edge_hz(low_hz: float, high_hz: float) -> float:
    """Where both together take half the power that they leave at the reference."""
    return float(brentq(lambda hz: magnitude(hz) - magnitude(REFERENCE_HZ) / math.sqrt(2.0), low_hz, high_hz))


def performed(folder: Path, reference: str) -> Path:
    settings = {"reference": reference, "current_limit": "100 A"}
    documents = Documents("response_and_filters", "workshop", "lw1200_lowpass", settings)
    return run(documents, Nobody(), out=folder, dry_run=True).folder


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """From 10 Hz to 40 kHz, as the sequence has it, with a reference inside the band."""
    return performed(tmp_path_factory.mktemp("run"), f"{REFERENCE_HZ:g} Hz")


@pytest.fixture(scope="module")
def table(folder: Path) -> pd.DataFrame:
    return read_figures(RunFolder.open(folder))


def figure(table: pd.DataFrame, name: str) -> pd.Series:  # type: ignore[type-arg]
    return table[table["figure"] == name].iloc[0]


@pytest.mark.parametrize(("name", "expected_hz"), [
    ("lower_band_edge", edge_hz(10.0, 30.0)), ("upper_band_edge", edge_hz(50.0, 200.0)),
])  # fmt: skip
def test_the_band_edges_are_those_of_both_filters(table: pd.DataFrame, name: str, expected_hz: float) -> None:
    edge = figure(table, name)
    assert edge["bound"] == ""
    assert abs(edge["value"] - expected_hz) <= edge["expanded_uncertainty"]


def test_the_low_pass_is_told_by_corner_slope_and_order(table: pd.DataFrame) -> None:
    """24.08 dB per octave far above the corner of a fourth-order filter."""
    slope = figure(table, "low_pass_slope")
    assert figure(table, "low_pass_corner")["value"] == pytest.approx(80.0, rel=0.02)
    assert slope["value"] == pytest.approx(24.08, abs=slope["expanded_uncertainty"] + 0.2)
    assert figure(table, "low_pass_order")["value"] == 4


def test_every_frequency_has_its_gain_and_what_noise_hides_is_a_bound_that_holds(table: pd.DataFrame) -> None:
    """The carrier's residue of 250 mV leaves 2.5 mV in a fit: far above the corner there is nothing else."""
    gains = table[(table["figure"] == "gain") & (table["step"] == "4 measure_response")]
    assert len(gains) == 37
    bounds = gains[gains["bound"] == "at most"]
    assert set(bounds["frequency_hz"]) == {hz for hz in gains["frequency_hz"] if hz >= 630.0}
    assert all(row["value"] >= 50.3 * magnitude(row["frequency_hz"]) for _, row in bounds.iterrows())


def test_the_picture_says_where_there_is_no_more_than_noise(folder: Path) -> None:
    picture, *_ = response_pictures(read_run_record(folder))
    assert "gain of A is no more than noise at 19 of 37 frequencies" in picture.alt
    assert "Open marks: at most so much." in picture.caption


def test_a_reference_that_the_filter_leaves_nothing_of_is_told_and_costs_no_gain(tmp_path: Path) -> None:
    folder = performed(tmp_path, "1 kHz")
    table = read_figures(RunFolder.open(folder))
    notes = [event["text"] for event in read_journal(folder / "journal.jsonl").events if event["event"] == "note"]
    assert len(table[table["figure"] == "gain"]) == 37
    assert "upper_band_edge" not in set(table["figure"])
    assert any("no band edges of A: no more than noise at the reference of 1 kHz; set `reference`" in n for n in notes)
