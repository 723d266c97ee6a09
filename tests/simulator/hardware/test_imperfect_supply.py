"""A supply that is not ideal: regulation, recovery, sensing, warm leads, whine."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchctl.documents.amplifier_file.imperfections import AmplifierImperfections
from benchctl.documents.amplifier_file.simulation import AmplifierSimulation
from benchctl.documents.bench_file.imperfections import Imperfections
from benchctl.documents.bench_file.simulation import BenchSimulation
from benchctl.documents.bench_file.supply_imperfections import Recovery, SupplyImperfections, WarmLeads, Whine
from benchctl.simulator.hardware import waveforms
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.hardware.supply_outputs import MOST_STEPS, RECOVERED_V, SupplyOutput
from tests.simulator.amplifier.test_models import Probe
from tests.simulator.benches import accounted_j, awake, describe

LEAD_OHM = 0.0015
RELAYS = (101, 102)


def bench_with(
    supply: SupplyImperfections, amplifier: AmplifierSimulation | None = None, voltage_v: float = 14.4
) -> PhysicalBench:
    """Awake, loaded, without instrument errors."""
    simulated = BenchSimulation(seed=1, instrument_errors="none", imperfections=Imperfections(supply=supply))
    return awake(describe(amplifier, simulated), RELAYS, voltage_v)


def play(bench: PhysicalBench, level_v: float, seconds: float, frequency_hz: float = 1e3) -> None:
    drive = bench.connections.drive
    drive.output_on, drive.level_v, drive.frequency_hz, drive.phase_origin_s = True, level_v, frequency_hz, bench.time_s
    bench.advance(bench.time_s + seconds)


def terminal_v(bench: PhysicalBench) -> float:
    """At the amplifier, over the last 20 ms."""
    means = bench.supply_means(1, 0.02)
    output = bench.connections.main_output
    return means.voltage_v - (0.0 if output.remote_sense else means.current_a * output.lead_ohm)


def test_an_ideal_supply_holds_its_voltage_at_its_own_terminals() -> None:
    bench = bench_with(SupplyImperfections())
    play(bench, 0.7, 1.0)
    assert bench.supply_means(1, 0.02).voltage_v == pytest.approx(14.4, abs=1e-9)


@pytest.mark.parametrize("ohm", [0.001, 0.004])
def test_the_output_resistance_lowers_the_voltage_with_the_current(ohm: float) -> None:
    """Ohm's law."""
    bench = bench_with(SupplyImperfections(output_resistance_ohm=ohm))
    play(bench, 0.7, 1.0)
    means = bench.supply_means(1, 0.02)
    assert means.current_a > 20.0
    assert means.voltage_v == pytest.approx(14.4 - ohm * means.current_a, abs=1e-6)


def test_remote_sense_holds_the_voltage_at_the_amplifier_and_the_leads_still_lose_power() -> None:
    bench = bench_with(SupplyImperfections(output_resistance_ohm=0.001))
    bench.connections.main_output.remote_sense = True
    play(bench, 0.7, 1.0)
    lost_j, began_s = bench.meters.lead, bench.time_s
    bench.advance(began_s + 0.1)
    current_a = bench.supply_means(1, 0.02).current_a
    assert terminal_v(bench) == pytest.approx(14.4 - 0.001 * current_a, abs=1e-6)
    assert (bench.meters.lead - lost_j) / 0.1 == pytest.approx(LEAD_OHM * current_a**2, rel=1e-3)


def test_open_sense_leads_let_the_output_rise_until_its_over_voltage_protection_acts() -> None:
    """The supply holds what it sees, and sees too little; without remote sense nothing happens."""
    bench = bench_with(SupplyImperfections(open_sense_v=2.5))
    main = bench.connections.main_output
    main.overvoltage_v = 16.5
    bench.advance(bench.time_s + 0.1)
    assert bench.supply_means(1, 0.02).voltage_v == pytest.approx(14.4)
    main.remote_sense = True
    bench.advance(bench.time_s + 0.1)
    assert main.overvoltage_tripped


def stepping(recovery: Recovery) -> PhysicalBench:
    """An amplifier that takes 10 A as soon as it wakes, and hardly anything else: a clean step of load."""
    quiet = AmplifierSimulation(
        housekeeping_w=144.0, bias_current_a=0.0, rail_stiffness_ohm=10.0, reservoir_f=1e-9, soft_start_s=0.0
    )
    simulated = BenchSimulation(
        seed=1,
        instrument_errors="none",
        supply_lead_ohm=0.0,
        imperfections=Imperfections(supply=SupplyImperfections(recovery=recovery)),
    )
    bench = PhysicalBench(describe(quiet, simulated))
    main, remote = bench.connections.outputs[1], bench.connections.outputs[2]
    main.voltage_v, main.limit_a, main.on = 14.4, 90.0, True
    bench.advance(1.0)
    remote.voltage_v, remote.limit_a, remote.on = 12.0, 0.5, True
    return bench


def test_the_voltage_falls_at_a_step_of_load_and_comes_back_exponentially() -> None:
    """dip = resistance·step, gone as exp(-t/time constant); 10 A at once, 10 mohm, 5 ms."""
    bench = stepping(Recovery(dip_ohm=0.010, time_constant_s=0.005))
    probe = Probe(bench)
    bench.advance(1.2)
    woke_s = bench.connections.amplifier.entered_s
    times_s = woke_s + np.arange(1e-4, 0.03, 1e-4)
    seen_v = waveforms.terminal_v(probe.physical_bench.history.between(woke_s, 1.2), times_s)
    assert seen_v == pytest.approx(14.4 - 0.1 * np.exp(-(times_s - woke_s) / 0.005), abs=0.007)
    assert seen_v[0] == pytest.approx(14.3, abs=0.002)
    assert seen_v[-1] == pytest.approx(14.4, abs=0.002)


@given(
    dip_ohm=st.floats(1e-4, 0.1),
    time_constant_s=st.floats(1e-5, 1.0),
    longest_s=st.floats(1e-9, 100.0),
    start_a=st.floats(-100.0, 100.0),
    rise_a_per_s=st.floats(-1e6, 1e6),
)
def test_a_step_of_a_recovering_supply_is_never_shorter_than_its_floor_nor_lets_the_voltage_move_further_than_promised(
    dip_ohm: float, time_constant_s: float, longest_s: float, start_a: float, rise_a_per_s: float
) -> None:
    """With a current that changes evenly. What is left to recover falls as exp(-t/time constant), so in `held_s` the
    voltage moves by no more than held_s/time constant of it, taken with the current at the end."""
    output = SupplyOutput(0.0, recovery=Recovery(dip_ohm=dip_ohm, time_constant_s=time_constant_s))
    times_s = output.times_to_look_at_s(longest_s)
    held_s = output.holds_until_s(times_s, start_a + rise_a_per_s * times_s)
    floor_s = min(time_constant_s / MOST_STEPS, longest_s)
    assert floor_s <= held_s <= longest_s
    to_recover_v = dip_ohm * abs(start_a + rise_a_per_s * held_s)
    if held_s > floor_s and to_recover_v > RECOVERED_V:
        assert held_s / time_constant_s * to_recover_v <= RECOVERED_V * (1 + 1e-9)


@pytest.mark.parametrize("frequency_hz", [1e3, 40.0])
def test_the_energy_balances_while_a_supply_recovers(frequency_hz: float) -> None:
    recovery = Recovery(dip_ohm=0.010, time_constant_s=0.004)
    bench = bench_with(SupplyImperfections(output_resistance_ohm=0.002, recovery=recovery))
    for level_v in (0.7, 0.1, 0.8):
        play(bench, level_v, 0.2, frequency_hz)
    assert accounted_j(bench) == pytest.approx(bench.meters.supplied, rel=1e-3)


def test_leads_warm_with_their_loss_as_copper_does() -> None:
    """Rise = P·(K/W) after long, resistance 0.393 % a kelvin over 20 degC (IEC 60028)."""
    bench = bench_with(SupplyImperfections(warm_leads=WarmLeads(rise_k_per_w=15.0, time_constant_s=2.0)))
    play(bench, 0.6, 20.0)
    main = bench.connections.main_output
    current_a = bench.supply_means(1, 0.02).current_a
    rise_k = 15.0 * main.lead_ohm * current_a**2
    assert rise_k > 10.0
    assert main.lead_ohm == pytest.approx(LEAD_OHM * (1 + 0.00393 * (23.0 + rise_k - 20.0)), rel=0.003)


def test_leads_that_do_not_warm_keep_their_resistance() -> None:
    bench = bench_with(SupplyImperfections())
    play(bench, 0.6, 5.0)
    assert bench.connections.main_output.lead_ohm == LEAD_OHM


def test_a_whine_is_on_the_supply_and_weakened_on_the_outputs() -> None:
    """50 mV of 3 kHz at the terminals; -40 dB of it at an output, by discrete Fourier transform of whole cycles."""
    leaking = AmplifierSimulation(imperfections=AmplifierImperfections(supply_leaks=0.01))
    bench = bench_with(SupplyImperfections(whine=Whine(frequency_hz=3e3, level_v=0.05)), leaking)
    probe = Probe(bench)
    bench.advance(bench.time_s + 0.1)
    times_s = bench.time_s - 0.1 + np.arange(10_000) * 1e-5
    spans = probe.physical_bench.history.between(times_s[0], bench.time_s)
    for samples, level_v in (
        (waveforms.terminal_v(spans, times_s), 0.05),
        (waveforms.output_v(spans, times_s, 0), 0.0005),
    ):
        line = np.abs(np.fft.rfft(samples)[300]) * math.sqrt(2) / len(samples)
        assert line == pytest.approx(level_v, rel=1e-3)
