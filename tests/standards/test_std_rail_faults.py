"""Reservoirs with series resistance, and rails that differ, against network theory and closed forms.

A half wave of peak Ip at f has the spectrum Ip·{1/pi, 1/2, 2/(3·pi), 2/(15·pi)} at {0, f, 2f, 4f} (Fourier series);
each line of it drops |Z| volts for an ampere in the rail, with Z the source resistance beside the reservoir.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from benchctl.simulator.amplifier.circuit import Circuit, Sides
from benchctl.simulator.amplifier.rails.follower import RailFollower
from benchctl.simulator.amplifier.rails.trace import Trace, steady
from benchctl.simulator.amplifier.rails.voltages import alike
from tests.standards.test_std_rail_ripple import POINTS, Rail, on_one_rail

LINES = {1: 1 / 2, 2: 2 / (3 * math.pi), 4: 2 / (15 * math.pi)}
PEAK_A, RS_OHM, FARADS = 5.0, 0.1, 0.01


def half(frequency_hz: float) -> Circuit:
    """30 V behind 0.1 ohm into 10 mF on each rail, loaded in turn by half waves of 5 A."""
    return on_one_rail("half", PEAK_A, frequency_hz, Rail(RS_OHM, FARADS))


def lines_v(trace: Trace, rail: int) -> dict[int, float]:
    """Multiple of the tone -> amplitude in a rail."""
    cycle_v = trace.rails_v[rail][:-1]
    spectrum = np.abs(np.fft.rfft(cycle_v)) * 2 / len(cycle_v)
    return {multiple: float(spectrum[multiple]) for multiple in LINES}


@pytest.mark.parametrize("frequency_hz", [20.0, 200.0, 2e3, 2e4])
@pytest.mark.parametrize("esr_ohm", [0.0, 0.02, 0.2])
def test_each_line_of_the_ripple_is_the_lines_current_through_the_rails_impedance(
    esr_ohm: float, frequency_hz: float
) -> None:
    """|Z| of Rs beside (ESR + 1/jwC); the lumped reservoir has half the ESR of one rail."""
    trace = steady(replace(half(frequency_hz), esr_ohm=esr_ohm / 2), alike(30.0), POINTS)
    for multiple, amplitude in lines_v(trace, 0).items():
        reservoir_ohm = esr_ohm + 1 / (2j * math.pi * multiple * frequency_hz * FARADS)
        impedance_ohm = abs(1 / (1 / RS_OHM + 1 / reservoir_ohm))
        assert amplitude == pytest.approx(PEAK_A * LINES[multiple] * impedance_ohm, rel=5e-3, abs=1e-5)


def test_series_resistance_counts_at_frequencies_at_which_nothing_else_does() -> None:
    """At 20 kHz 0.1 F stands still; the rail falls by the peak through Rs beside the ESR, 0.1 and 0.005 ohm."""
    sound = on_one_rail("half", PEAK_A, 2e4, Rail(RS_OHM, 0.1))
    swings_v = []
    for esr_ohm in (0.0, 0.0025):
        curve = RailFollower().curve(replace(sound, esr_ohm=esr_ohm), alike(29.84), 0.0, 0.05)
        swings_v.append(float(np.ptp(curve.steps[-1].rails_v(np.linspace(0.049, 0.05, 10_001))[0])))
    assert swings_v == pytest.approx([0.0, PEAK_A / (1 / 0.1 + 1 / 0.005)], rel=0.02, abs=1e-6)


@pytest.mark.parametrize("left", [0.02, 0.1])
def test_a_dead_capacitor_shows_on_its_own_rail_alone(left: float) -> None:
    """Each rail swings as its own reservoir lets it, by the impedance above."""
    trace = steady(replace(half(1e3), sides=Sides(capacitance=(1.0, left))), alike(30.0), POINTS)
    for rail, farads in enumerate((FARADS, left * FARADS)):
        impedance_ohm = abs(1 / (1 / RS_OHM + 2j * math.pi * 1e3 * farads))
        assert lines_v(trace, rail)[1] == pytest.approx(PEAK_A / 2 * impedance_ohm, rel=1e-3)


def test_a_rail_of_lower_voltage_stays_lower_under_load() -> None:
    """V0 - Rs·Ip/pi each."""
    trace = steady(replace(half(50.0), sides=Sides(voltage=(1.0, 0.9))), alike(30.0), POINTS)
    means_v = trace.rails_v[:, :-1].mean(axis=1)
    assert means_v == pytest.approx([30.0 - RS_OHM * PEAK_A / math.pi, 27.0 - RS_OHM * PEAK_A / math.pi], abs=1e-4)


def test_rails_that_differ_come_to_rest_at_their_own_voltages_without_a_tone() -> None:
    silent = on_one_rail("half", 0.0, 1e3, Rail(RS_OHM, FARADS))
    end = RailFollower().curve(replace(silent, sides=Sides(voltage=(0.8, 1.0))), alike(0.0), 0.0, 1.0).end
    assert end == pytest.approx((24.0, 30.0), abs=1e-3)
