"""A half-bridge pumps its rails: against the energy balance of an ideal half-bridge.

With D the part of the time in which the upper switch conducts, v = D·V+ - (1 - D)·V- is the output. Its current i is
taken from the plus rail for D and put into the minus rail for 1 - D; "Minimize power-supply pumping for
single-ended-output, class-D audio amplifiers" (planetanalog.com) tells why. So C·dV-/dt = i·(V+ - v)/(V+ + V-). With V+
held at E, and a half wave v = V·sin wt into R:

    (V+ + V-)² at its end = (2·E)² + 2·V/(R·f·C)·(E/pi - V/4)

For a small rise and M = V/E this is the E·M·(4 - pi·M)/(8·pi·f·R·C) of the handbooks (from memory).
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from benchctl.simulator.amplifier.circuit import Circuit
from benchctl.simulator.amplifier.converter import Converter, Source
from benchctl.simulator.amplifier.output_stage import Losses, SwitchingStage
from benchctl.simulator.amplifier.rails.follower import RailFollower, swings
from benchctl.simulator.amplifier.rails.trace import steady
from benchctl.simulator.amplifier.rails.voltages import alike

E_V, LOAD_OHM, FARADS = 40.0, 4.0, 4.7e-3


def half_bridges(*amplitudes_v: float, frequency_hz: float, pumps: bool = True, source_ohm: float = 2.5e-4) -> Circuit:
    """Stages without losses on two rails of 40 V behind diodes; the source resistance is that of both as one."""
    losses = Losses(conduction_ohm=0.0, switching_s=0.0, pumps=pumps)
    return Circuit(
        source=Source(20.0, 1e9, 0.0),
        converter=Converter(ratio=2.0, stiffness_ohm=source_ohm, efficiency=1.0, small_stages_a=0.0),
        stages=tuple(SwitchingStage(volts, 0.0, 1 / LOAD_OHM, 0.0, losses) for volts in amplitudes_v),
        reservoir_f=2 * FARADS,
        saturation_v=0.0,
        bias_a=0.0,
        bias_knee_v=1e-9,
        bleeder_ohm=1e12,
        frequency_hz=frequency_hz,
    )


@pytest.mark.parametrize("frequency_hz", [20.0, 100.0])
@pytest.mark.parametrize("part", [0.2, 2 / math.pi, 0.95])
def test_the_first_half_wave_returns_to_the_other_rail_what_the_energy_balance_says(
    part: float, frequency_hz: float
) -> None:
    amplitude_v = part * E_V
    circuit = half_bridges(amplitude_v, frequency_hz=frequency_hz)
    end = RailFollower().curve(circuit, alike(E_V), 0.0, 0.5 / frequency_hz).end
    gained = 2 * amplitude_v / (LOAD_OHM * frequency_hz * FARADS) * (E_V / math.pi - amplitude_v / 4)
    assert end.plus_v == pytest.approx(E_V, abs=0.01)
    assert end.minus_v - E_V == pytest.approx(math.sqrt((2 * E_V) ** 2 + gained) - 2 * E_V, rel=5e-3)


@pytest.mark.parametrize("part", [0.2, 2 / math.pi, 0.95])
def test_in_the_steady_state_each_rail_rises_by_it_once_in_a_cycle_and_comes_back_to_the_source(part: float) -> None:
    """1 kHz, where the rise is small beside the rail."""
    rails_v = steady(half_bridges(part * E_V, frequency_hz=1e3), alike(E_V), 2049).rails_v
    rise_v = E_V * part * (4 - math.pi * part) / (8 * math.pi * 1e3 * LOAD_OHM * FARADS)
    assert rails_v.min(axis=1) == pytest.approx([E_V, E_V], abs=0.01)
    assert rails_v.max(axis=1) - E_V == pytest.approx([rise_v, rise_v], rel=0.02)


def test_no_energy_is_lost_between_the_rails() -> None:
    """Over a steady cycle the supply gives what the load takes and the source resistance loses; nothing else does."""
    trace = steady(half_bridges(0.7 * E_V, frequency_hz=50.0, source_ohm=0.05), alike(E_V), 2049)
    supply_w, lost_w, load_w = trace.sums[[0, 4, 9], -1] * 50.0
    assert load_w == pytest.approx((0.7 * E_V) ** 2 / 2 / LOAD_OHM, rel=1e-4)
    assert supply_w == pytest.approx(load_w + lost_w, rel=1e-3)


def test_two_channels_in_opposite_phase_take_back_what_each_other_returns() -> None:
    """Common practice: every second channel of such an amplifier is inverted, and its speaker turned round."""
    alone = steady(half_bridges(20.0, 20.0, frequency_hz=20.0, source_ohm=0.05), alike(E_V), 1025).rails_v
    opposed = steady(half_bridges(20.0, -20.0, frequency_hz=20.0, source_ohm=0.05), alike(E_V), 1025).rails_v
    assert alone.max() > E_V + 8.0
    assert opposed.max() < E_V


def test_rails_that_are_not_told_to_pump_do_not_rise() -> None:
    silent_about_it = half_bridges(20.0, frequency_hz=20.0, pumps=False)
    assert not silent_about_it.rails_apart
    assert steady(silent_about_it, alike(E_V), 1025).rails_v.max() < E_V


def test_rails_that_are_pumped_are_followed_within_the_cycle_also_where_others_are_followed_by_their_means() -> None:
    """1 kHz on a time constant of 9.4 ms."""
    pumped, even = (half_bridges(20.0, frequency_hz=1e3, pumps=pumps, source_ohm=1.0) for pumps in (True, False))
    assert (swings(pumped), swings(even)) == (True, False)


def test_pumped_rails_stay_up_where_nothing_is_played_any_more() -> None:
    """Only the bleeder takes anything from a rail above its source: exp(-t/RC) of one rail."""
    silent = half_bridges(0.0, frequency_hz=1e3)
    silent = replace(silent, bleeder_ohm=1000.0, converter=replace(silent.converter, stiffness_ohm=0.36))
    curve = RailFollower().curve(silent, alike(E_V)._replace(minus_v=50.0), 0.0, 1.0)
    assert curve.end.minus_v == pytest.approx(50.0 * math.exp(-1.0 / (2000.0 * FARADS)), rel=1e-3)
