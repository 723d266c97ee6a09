"""What the power side shows when the amplifier is turned on and off: inrush, thumps."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.documents.amplifier_file.imperfections import AmplifierImperfections
from benchctl.documents.amplifier_file.power_side import Thump
from benchctl.documents.amplifier_file.simulation import AmplifierSimulation
from benchctl.simulator.amplifier.amplifier import State
from benchctl.simulator.hardware import waveforms
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.hardware.waveforms import Samples
from tests.simulator.amplifier.test_models import Probe
from tests.simulator.benches import describe

STEP_S = 5e-5
GAIN, EFFICIENCY, RAIL_OHM, RESERVOIR_F = 41.0 / 14.4, 0.92, 0.36, 0.03
"""Of the converter and the lumped rails."""

SMALL_A = 4.0 / 14.4
LEAD_OHM = 0.0015


def waking(soft_start_s: float, limit_a: float = 1e4, thump: Thump | None = None) -> tuple[PhysicalBench, Probe]:
    """On its supply, its remote lead live from 1 s on; it wakes at once, and plays after 300 ms."""
    simulation = AmplifierSimulation(
        rail_v=41.0,
        rail_stiffness_ohm=RAIL_OHM,
        reservoir_f=RESERVOIR_F,
        converter_efficiency=EFFICIENCY,
        bias_current_a=0.0,
        housekeeping_w=4.0,
        turn_on_delay_s=0.3,
        soft_start_s=soft_start_s,
        offset_v={"A": 0.0, "B": 0.0},
        imperfections=AmplifierImperfections(thump=thump),
    )
    bench = PhysicalBench(describe(simulation))
    main, remote = bench.connections.outputs[1], bench.connections.outputs[2]
    main.voltage_v, main.limit_a, main.on = 14.4, limit_a, True
    bench.advance(1.0)
    probe = Probe(bench)
    remote.voltage_v, remote.limit_a, remote.on = 12.0, 0.5, True
    return bench, probe


def woken_s(bench: PhysicalBench) -> float:
    """Let time pass until it wakes; when it did."""
    while bench.connections.amplifier.state is not State.WAKING:
        bench.advance(bench.time_s + STEP_S)
    return bench.connections.amplifier.entered_s


def current_a(bench: PhysicalBench, from_s: float, seconds: float) -> Samples:
    """The supply's current from a time on, every 50 µs."""
    bench.advance(from_s + seconds)
    times_s = from_s + np.arange(STEP_S / 2, seconds, STEP_S)
    return waveforms.supply_current_a(bench.history.between(from_s, from_s + seconds), times_s)


def test_without_soft_start_the_inrush_is_what_ohms_law_leaves_of_it() -> None:
    """The empty reservoir is a short circuit behind R, seen through the transformer as R·eta/n², in series with the
    leads; it dies away with the time constant of both. Ohm's law on the transformed circuit."""
    bench, _ = waking(soft_start_s=0.0)
    inrush_a = current_a(bench, woken_s(bench), 0.02) - SMALL_A
    seen_ohm = RAIL_OHM * EFFICIENCY / GAIN**2
    peak_a = (14.4 - LEAD_OHM * SMALL_A) / (seen_ohm + LEAD_OHM)
    decay_s = (RAIL_OHM + LEAD_OHM * GAIN**2 / EFFICIENCY) * RESERVOIR_F
    expected_a = peak_a * np.exp(-(np.arange(len(inrush_a)) + 0.5) * STEP_S / decay_s)
    assert inrush_a == pytest.approx(expected_a, rel=2e-3)


def test_the_supplys_current_limit_caps_the_inrush() -> None:
    bench, _ = waking(soft_start_s=0.0, limit_a=60.0)
    inrush_a = current_a(bench, woken_s(bench), 0.2)
    assert inrush_a.max() == pytest.approx(60.0)
    assert np.count_nonzero(inrush_a > 59.9) > 100


@pytest.mark.parametrize("soft_start_s", [0.05, 0.1, 0.2])
def test_soft_start_limits_the_inrush_to_what_the_ramp_needs(soft_start_s: float) -> None:
    """A ramp of the open rail charges the reservoir by C·dV/dt·(1 - exp(-t/RC)), which the ratio reached by then brings
    to the supply; the peak is at the end of the ramp (closed form of a low-pass on a ramp)."""
    bench, _ = waking(soft_start_s)
    inrush_a = current_a(bench, woken_s(bench), 2 * soft_start_s)
    tau_s = RAIL_OHM * RESERVOIR_F
    into_a = RESERVOIR_F * 41.0 / soft_start_s * (1 - math.exp(-soft_start_s / tau_s))
    assert inrush_a.max() == pytest.approx(into_a * GAIN / EFFICIENCY + SMALL_A, rel=0.025)
    assert np.argmax(inrush_a) * STEP_S == pytest.approx(soft_start_s, rel=0.01)


THUMP = Thump(turn_on_v=3.0, turn_off_v=-2.0, time_constant_s=0.02)


def heard(bench: PhysicalBench, probe: Probe, from_s: float) -> tuple[Samples, Samples]:
    """Times from `from_s` on, and the output, for 100 ms."""
    bench.advance(from_s + 0.1)
    output_v = probe.output_v(0, from_s, from_s + 0.1, 1e4)
    return np.arange(len(output_v)) / 1e4, output_v


def test_an_unmuting_amplifier_thumps_and_the_thump_decays() -> None:
    """3 V·exp(-t/20 ms) from the moment it plays."""
    bench, probe = waking(0.1, thump=THUMP)
    played_s = woken_s(bench) + 0.3
    bench.advance(played_s + 0.01)
    assert probe.output_v(0, played_s - 0.05, played_s - 1e-4, 1e4) == pytest.approx(0.0)
    times_s, output_v = heard(bench, probe, played_s + 1e-4)
    assert output_v == pytest.approx(3.0 * np.exp(-(times_s + 1e-4) / 0.02), abs=1e-6)


def test_an_amplifier_that_is_turned_off_thumps_the_other_way() -> None:
    bench, probe = waking(0.1, thump=THUMP)
    bench.advance(woken_s(bench) + 1.0)
    bench.connections.outputs[2].on = False
    while bench.connections.amplifier.state is not State.ASLEEP:
        bench.advance(bench.time_s + STEP_S)
    slept_s = bench.connections.amplifier.entered_s
    times_s, output_v = heard(bench, probe, slept_s)
    assert output_v[1:] == pytest.approx(-2.0 * np.exp(-times_s[1:] / 0.02), abs=1e-6)


def test_an_amplifier_without_a_thump_is_silent_when_it_unmutes() -> None:
    bench, probe = waking(0.1)
    played_s = woken_s(bench) + 0.3
    assert heard(bench, probe, played_s - 0.05)[1] == pytest.approx(0.0)
