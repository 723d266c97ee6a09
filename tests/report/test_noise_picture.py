"""The picture of the noise: it names the lines that the record shows, and draws the oscilloscope's own noise beside."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from benchctl.archive.captures import encode_capture
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import FiguresEntry, context_as_json
from benchctl.clock import VirtualClock
from benchctl.measure.analyses.noise_figures import NoiseContext
from benchctl.measure.conditions import UNDRIVEN
from benchctl.measure.signal.record import Capture
from benchctl.report.pictures.canvas import Picture
from benchctl.report.pictures.noise import noise_pictures
from benchctl.report.reading.run_record import RunRecord
from tests.measure.conftest import digitise

RATE_HZ = 100e3


def _capture(name: str, noise_v: float, hum_v: float) -> Capture:
    times_s = np.arange(50_000) / RATE_HZ
    hum = hum_v * math.sqrt(2.0) * np.sin(2.0 * np.pi * 60.0 * times_s)
    values = np.random.default_rng(len(name)).normal(0.0, noise_v, times_s.size) + hum
    return Capture(name, 0.0, 1.0 / RATE_HZ, {"output A": digitise(values, 0.02)}, 0.0)


@pytest.fixture
def picture(tmp_path: Path) -> Picture:
    """Of hum at 60 Hz, which is only there while the amplifier is on."""
    folder = RunFolder.create(tmp_path, "noise", "amplifier", VirtualClock())
    captures = {"noise": "captures/0001-noise.npz", "amplifier off": "captures/0002-amplifier-off.npz"}
    folder.write_atomically(captures["noise"], encode_capture(_capture("noise", 3e-4, 1e-3)))
    folder.write_atomically(captures["amplifier off"], encode_capture(_capture("amplifier off", 1e-4, 0.0)))
    entry = FiguresEntry(
        step="3 measure_noise",
        analysis="noise",
        captures=captures,
        readings={},
        context=context_as_json(NoiseContext(load_ohm=4.0, bits=12)),
        conditions=UNDRIVEN,
        captured={},
        figures=[],
        comparisons=None,
    )
    (found,) = noise_pictures(RunRecord(folder, (), (), (entry,), None, None, None, None, ()))
    return found


def test_it_says_in_words_which_lines_it_shows(picture: Picture) -> None:
    assert "60 Hz" in picture.alt
    assert "(mains frequency, only with the amplifier on)" in picture.alt


def test_it_draws_the_oscilloscopes_own_noise_and_names_both_records(picture: Picture) -> None:
    assert "A, amplifier off" in picture.svg
    assert "captures/0001-noise.npz and captures/0002-amplifier-off.npz" in picture.caption
