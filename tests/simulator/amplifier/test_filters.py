"""Filters in front of a stage: a steady sine, and what rings after a change."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from benchctl.documents.amplifier_file.filters import CrossoverFilter
from benchctl.simulator.amplifier.filters import Phasor, Ringing, filter_of

LOW = CrossoverFilter(kind="low-pass", corner_hz=100.0, slope="24 dB/octave")
HIGH = CrossoverFilter(kind="high-pass", corner_hz=20.0, slope="12 dB/octave")
CASCADES = [(LOW,), (HIGH,), (LOW, HIGH)]


def analogue(filters: tuple[CrossoverFilter, ...]) -> tuple[np.ndarray, np.ndarray]:
    """Numerator and denominator by scipy, an independent way."""
    numerator, denominator = np.array([1.0]), np.array([1.0])
    for each in filters:
        kind = "low" if each.kind == "low-pass" else "high"
        b, a = signal.butter(each.order, 2 * np.pi * each.corner_hz, kind, analog=True)
        numerator, denominator = np.polymul(numerator, b), np.polymul(denominator, a)
    return numerator, denominator


@pytest.mark.parametrize("filters", CASCADES)
@pytest.mark.parametrize("frequency_hz", [10.0, 50.0, 100.0, 400.0])
def test_level_and_phase_of_a_steady_sine_are_those_of_an_analogue_butterworth(
    filters: tuple[CrossoverFilter, ...], frequency_hz: float
) -> None:
    band = filter_of(filters, "A")
    assert band is not None
    _, (expected,) = signal.freqs(*analogue(filters), worN=[2 * np.pi * frequency_hz])
    assert band.response(frequency_hz) == pytest.approx(complex(expected), abs=1e-9)


@pytest.mark.parametrize("filters", CASCADES)
def test_a_burst_through_a_filter_is_that_of_a_simulated_circuit(filters: tuple[CrossoverFilter, ...]) -> None:
    """A tone of 60 Hz that jumps from 0.1 to 1 V, by scipy's simulation of the state equations at 20 microseconds."""
    band = filter_of(filters, "A")
    assert band is not None
    times = np.arange(60_000) * 20e-6
    jump_s = 0.9
    level = np.where(times < jump_s, 0.1, 1.0)
    _, simulated, _ = signal.lsim(analogue(filters), level * np.sin(2 * np.pi * 60.0 * times), times)
    soft, loud = Phasor(0.1, 60.0, 0.0), Phasor(1.0, 60.0, 0.0)
    ringing = Ringing(band)
    ringing.change(soft, loud, jump_s)
    after = times[times >= jump_s]
    response = band.response(60.0)
    steady = abs(response) * np.sin(2 * np.pi * 60.0 * after + np.angle(response))
    assert steady + ringing.output_v(after) == pytest.approx(simulated[times >= jump_s], abs=2e-3)


def test_after_two_changes_back_and_forth_it_still_rings_from_both() -> None:
    """A change that is reversed at once leaves no ringing."""
    band = filter_of((LOW,), "A")
    assert band is not None
    ringing = Ringing(band)
    soft, loud = Phasor(0.1, 60.0, 0.0), Phasor(1.0, 60.0, 0.0)
    ringing.change(soft, loud, 0.5)
    ringing.change(loud, soft, 0.5)
    assert ringing.output_v(np.linspace(0.5, 0.6, 100)) == pytest.approx(np.zeros(100), abs=1e-12)


def test_a_filter_for_one_channel_leaves_the_others_alone() -> None:
    only = LOW.model_copy(update={"channels": ("A",)})
    assert filter_of((only,), "A") is not None
    assert filter_of((only,), "B") is None


def test_the_same_filter_twice_has_no_partial_fractions_and_is_refused() -> None:
    with pytest.raises(ValueError, match="same corner and slope"):
        filter_of((LOW, LOW), "A")
