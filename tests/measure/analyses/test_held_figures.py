"""What was held all through a long tone: the worst of each quantity, in whichever record it lies."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.measure.analyses.held_figures import held_figures
from benchctl.measure.budget.figure import Figure
from benchctl.measure.signal.record import Capture, Trace
from benchctl.measure.uncertainty import LoadResistance

RATE_HZ = 200e3
TIMES_S = np.arange(8000) / RATE_HZ


def record(taken_s: float, rms_v: float, third: float, supply_v: float) -> Capture:
    """A sine of 1 kHz with so much third harmonic, and the voltage at the terminals."""
    phase = 2.0 * math.pi * 1e3 * TIMES_S
    wave = math.sqrt(2.0) * rms_v * (np.sin(phase) + third * np.sin(3.0 * phase))
    noise = np.random.default_rng(7).normal(0.0, 1e-3, TIMES_S.size)
    traces = {
        "output A": Trace(np.round((wave + noise) / 2e-3).astype(np.int16), 2e-3, 0.0, "V", -(2**15), 2**15 - 1),
        "supply voltage": Trace(
            np.round((supply_v + noise) / 1e-3).astype(np.int16), 1e-3, 0.0, "V", -(2**15), 2**15 - 1
        ),
    }
    return Capture(f"captures/{taken_s:g}.npz", 0.0, 1.0 / RATE_HZ, traces, taken_s)


RECORDS = [record(270.0, 24.4, 0.003, 14.0), record(0.0, 24.6, 0.002, 14.1), record(120.0, 24.5, 0.008, 14.05)]


def found() -> dict[str, Figure]:
    loads = {"A": LoadResistance(4.0, 4.0)}
    return {figure.name: figure for figure in held_figures(RECORDS, 1e3, {}, loads)}


def test_the_power_held_is_the_lowest_and_names_its_record() -> None:
    """V^2 / R, with the third harmonic's part of it."""
    power = found()["held_power"]
    assert power.value == pytest.approx(24.4**2 * (1.0 + 0.003**2) / 4.0, rel=1e-5)
    assert power.capture == "captures/270.npz"


def test_the_distortion_held_is_the_highest_and_names_its_record() -> None:
    """Relative to all of the signal, as AES17 has it."""
    distortion = found()["held_thd_n"]
    assert distortion.value == pytest.approx(0.008 / math.sqrt(1.0 + 0.008**2), rel=1e-3)
    assert distortion.capture == "captures/120.npz"


def test_the_voltage_held_is_the_lowest_mean_at_the_terminals() -> None:
    assert found()["held_supply_voltage"].value == pytest.approx(14.0, abs=1e-4)
