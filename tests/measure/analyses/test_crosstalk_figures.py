"""Crosstalk from records whose leaks are known."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.crosstalk_figures import CrosstalkContext, crosstalk
from benchctl.measure.budget.figure import Figure
from benchctl.measure.signal.record import Capture
from tests.measure.conftest import digitise


def captured(amplitudes_v: dict[str, float], noise_v: float = 3e-4) -> Capture:
    """Ten milliseconds of 1 kHz at each output, each in a range that fits."""
    time_s = np.arange(10_000) * 1e-6
    traces = {}
    for number, (channel, amplitude_v) in enumerate(amplitudes_v.items()):
        noise = np.random.default_rng(number).normal(0.0, noise_v, time_s.size)
        volts = amplitude_v * np.sin(2 * np.pi * 1e3 * time_s) + noise
        traces[f"output {channel}"] = digitise(volts, 2.6 * max(amplitude_v, 5 * noise_v))
    return Capture("record.npz", 0.0, 1e-6, traces, 0.0)


def figures_of(**driven: dict[str, float]) -> dict[str, Figure]:
    """By the undriven channel; `driven` gives the amplitudes at all outputs while one is driven."""
    roles = {f"{channel} driven": channel for channel in driven}
    captures = {f"{channel} driven": captured(amplitudes_v) for channel, amplitudes_v in driven.items()}
    context = CrosstalkContext(driven=roles, tones_hz=dict.fromkeys(roles, 1e3))
    return {figure.channel: figure for figure in crosstalk(captures, {}, context)}


def test_a_leak_is_told_as_a_ratio_of_voltages() -> None:
    figures = figures_of(A={"A": 10.0, "B": 0.01}, B={"A": 0.02, "B": 10.0})
    assert figures["B"].value == pytest.approx(1e-3, rel=0.02)
    assert figures["A"].value == pytest.approx(2e-3, rel=0.02)
    assert figures["A"].frequency_hz == 1e3


def test_of_several_driven_channels_the_one_that_leaks_most_counts() -> None:
    figures = figures_of(A={"A": 10.0, "B": 0.01, "C": 0.03}, B={"A": 0.01, "B": 10.0, "C": 0.01})
    assert figures["C"].value == pytest.approx(3e-3, rel=0.02)


def test_a_leak_in_the_noise_is_a_bound() -> None:
    leak = figures_of(A={"A": 10.0, "B": 0.0}, B={"A": 0.0, "B": 10.0})["B"]
    assert leak.bound == "at most"
    assert leak.value < 1e-5  # noise of 0.3 mV on 10 000 samples leaves 4 uV of the tone's amplitude


def test_an_input_that_was_left_plugged_in_is_noticed() -> None:
    with pytest.raises(MeasurementError, match="its input is driven too"):
        figures_of(A={"A": 10.0, "B": 9.9}, B={"A": 0.01, "B": 10.0})


def test_a_driven_output_that_is_silent_is_noticed() -> None:
    with pytest.raises(MeasurementError, match="output A is driven and silent at every frequency"):
        figures_of(A={"A": 0.0, "B": 0.0}, B={"A": 0.01, "B": 10.0})


def test_a_frequency_at_which_the_driven_output_is_silent_tells_nothing_and_hides_nothing() -> None:
    """As behind a low-pass: what the others show at 1 kHz is known, at 2 kHz it is not."""
    captures = {"heard": captured({"A": 10.0, "B": 0.01}), "hidden": captured({"A": 0.0, "B": 0.0})}
    context = CrosstalkContext(driven={"heard": "A", "hidden": "A"}, tones_hz={"heard": 1e3, "hidden": 2e3})
    (leak,) = crosstalk(captures, {}, context)
    assert leak.frequency_hz == 1e3
    assert leak.value == pytest.approx(1e-3, rel=0.02)
