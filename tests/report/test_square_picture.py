"""The picture of a square wave shows an edge at every level, and says its figures in words."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from benchctl.archive.captures import encode_capture
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import FiguresEntry, context_as_json
from benchctl.clock import VirtualClock
from benchctl.measure.analyses.square_figures import CAPACITIVE, LARGE, SMALL, SquareContext, role_of, square
from benchctl.measure.conditions import UNDRIVEN
from benchctl.measure.signal.record import Capture
from benchctl.report.pictures.canvas import Picture
from benchctl.report.pictures.square import square_pictures
from benchctl.report.reading.run_record import RunRecord
from tests.measure.conftest import digitise

SQUARE_HZ, HALF = 1000.0, 10_000


def _capture(name: str, peak_v: float) -> Capture:
    """A square wave whose edges take 2 us."""
    interval_s = 0.5 / SQUARE_HZ / HALF
    edge = peak_v * (2.0 * np.clip(np.arange(HALF) * interval_s * 0.8 / 2e-6, 0.0, 1.0) - 1.0)
    return Capture(name, 0.0, interval_s, {"output A": digitise(np.concatenate([edge, -edge] * 3), 3 * peak_v)}, 0.0)


@pytest.fixture
def picture(tmp_path: Path) -> Picture:
    folder = RunFolder.create(tmp_path, "square", "amplifier", VirtualClock())
    files, captures = {}, {}
    for number, (kind, peak_v) in enumerate(((SMALL, 1.0), (LARGE, 10.0), (CAPACITIVE, 1.0)), start=1):
        role, file = role_of(kind, SQUARE_HZ), f"captures/000{number}-{kind}.npz"
        captures[role], files[role] = _capture(file, peak_v), file
        folder.write_atomically(file, encode_capture(captures[role]))
    context = SquareContext(waves_hz=dict.fromkeys(captures, SQUARE_HZ))
    entry = FiguresEntry(
        step="3 measure_square",
        analysis="square",
        captures=files,
        readings={},
        context=context_as_json(context),
        conditions=UNDRIVEN,
        captured={},
        figures=square(captures, {}, context),
        comparisons=None,
    )
    (found,) = square_pictures(RunRecord(folder, (), (), (entry,), None, None, None, None, ()))
    return found


def test_it_says_the_figures_in_words(picture: Picture) -> None:
    assert picture.alt.startswith("The square wave of 1 kHz at output A. Rise time ≤ 2")
    assert "Slew rate ≥" in picture.alt


def test_it_names_both_levels_the_capacitor_and_the_records(picture: Picture) -> None:
    for words in ("20 dB below", "at the level", "with a capacitor"):
        assert words in picture.svg
    assert "captures/0001-small.npz, captures/0002-large.npz, captures/0003-capacitor.npz" in picture.caption
