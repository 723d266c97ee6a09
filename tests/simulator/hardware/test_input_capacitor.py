"""A capacitor across the supply terminals, against the closed forms of a capacitor behind a resistance.

Charged from a voltage V behind R, with r of its own: i = V/(R + r)·exp(-t/tau), tau = (R + r)·C. By a ramp of k V/s:
i = k·C·(1 - exp(-t/tau)). Of a draw beside it, the source gives the part (1 + jw·r·C)/(1 + jw·(R + r)·C) (any text on
networks).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from benchctl.documents.amplifier_file.imperfections import AmplifierImperfections
from benchctl.documents.amplifier_file.power_side import InputCapacitor
from benchctl.documents.amplifier_file.simulation import AmplifierSimulation
from benchctl.documents.bench_file.simulation import BenchSimulation, SupplySlew
from benchctl.simulator.hardware import waveforms
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from tests.simulator.benches import awake, describe

FARADS, OWN_OHM, LEAD_OHM = 0.01, 0.008, 0.002
TAU_S = (OWN_OHM + LEAD_OHM) * FARADS
STANDBY_A = 0.004


def amplifier(capacitor: InputCapacitor | None = None) -> AmplifierSimulation:
    """Asleep it takes 4 mA."""
    return AmplifierSimulation(
        reservoir_f=0.005,
        standby_current_a=STANDBY_A,
        imperfections=AmplifierImperfections(input_capacitor=capacitor),
    )


OF_10_MF = amplifier(InputCapacitor(capacitance_f=FARADS, esr_ohm=OWN_OHM))


def seen(bench: PhysicalBench, times_s: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Voltage at the terminals, and the supply's current."""
    spans = bench.history.between(times_s[0], times_s[-1])
    return waveforms.terminal_v(spans, times_s), waveforms.supply_current_a(spans, times_s)


def test_on_a_battery_it_is_charged_as_the_closed_form_says() -> None:
    bench = PhysicalBench(replace(describe(OF_10_MF, BenchSimulation(supply_lead_ohm=LEAD_OHM)), supply=None))
    bench.advance(0.002)
    times_s = np.linspace(0.0, 1e-3, 200)
    terminal_v, supply_a = seen(bench, times_s)
    expected_a = STANDBY_A + (14.4 - LEAD_OHM * STANDBY_A) / (OWN_OHM + LEAD_OHM) * np.exp(-times_s / TAU_S)
    assert supply_a == pytest.approx(expected_a, abs=1.0)  # of 1440 A
    assert supply_a[-1] == pytest.approx(expected_a[-1], abs=0.01)
    assert terminal_v == pytest.approx(14.4 - LEAD_OHM * supply_a, abs=1e-6)


def switched_on(limit_a: float, overcurrent_a: float = math.inf) -> PhysicalBench:
    """A supply that has been rising by 100 V/s for 120 ms, on an amplifier that sleeps."""
    slew = SupplySlew(rise_v_per_s=100.0)
    bench = PhysicalBench(describe(OF_10_MF, BenchSimulation(supply_lead_ohm=LEAD_OHM, supply_slew=slew)))
    main = bench.connections.outputs[1]
    main.voltage_v, main.limit_a, main.on, main.overcurrent_a = 14.4, limit_a, True, overcurrent_a
    bench.advance(0.12)
    return bench


def test_a_supply_that_rises_evenly_charges_it_with_an_even_current() -> None:
    """100 V/s into 10 mF is 1 A; at its terminals the supply is then R times that ahead."""
    bench = switched_on(110.0)
    times_s = np.linspace(0.03, 0.119, 200)
    terminal_v, supply_a = seen(bench, times_s)
    assert supply_a == pytest.approx(STANDBY_A + 1.0, rel=2e-3)
    assert terminal_v == pytest.approx(100.0 * times_s - LEAD_OHM * 1.004, abs=2e-3)
    bench.advance(0.3)
    assert seen(bench, np.linspace(0.25, 0.3, 5))[1] == pytest.approx(STANDBY_A, abs=1e-4), "it is up after 144 ms"


def test_a_supply_in_its_limit_charges_it_with_what_it_has() -> None:
    """Half an ampere: a rise of (0.5 - 0.004) A/10 mF."""
    times_s = np.linspace(0.03, 0.119, 50)
    terminal_v, supply_a = seen(switched_on(0.5), times_s)
    assert supply_a == pytest.approx(0.5)
    assert np.diff(terminal_v) / np.diff(times_s) == pytest.approx((0.5 - STANDBY_A) / FARADS, rel=1e-3)


def test_the_supply_reads_the_current_that_charges_it_and_trips_on_it() -> None:
    assert switched_on(110.0).supply_means(1, 0.05).current_a == pytest.approx(STANDBY_A + 1.0, rel=2e-3)
    for highest_a, trips in ((0.9, True), (1.1, False)):
        bench = switched_on(110.0, overcurrent_a=highest_a)
        assert bench.connections.outputs[1].overcurrent_tripped is trips


def test_its_smoothing_is_that_of_a_resistance_and_a_capacitor() -> None:
    """A lead of 30 mohm and 50 mF, 40 Hz into 4 ohm: the draw pulses at 80 Hz and 160 Hz."""
    capacitor = InputCapacitor(capacitance_f=0.05, esr_ohm=0.005)
    spectra = []
    for simulation in (amplifier(), amplifier(capacitor)):
        bench = awake(describe(simulation, BenchSimulation(supply_lead_ohm=0.03)), relays=(101,))
        drive = bench.connections.drive
        drive.output_on, drive.level_v, drive.frequency_hz, drive.phase_origin_s = True, 0.4, 40.0, bench.time_s
        bench.advance(bench.time_s + 0.3)
        bench.advance(bench.time_s + 0.05)
        times_s = bench.time_s - 0.05 + np.arange(2000) * 2.5e-5
        spectra.append(np.fft.rfft(seen(bench, times_s)[1]) / 1000)
    for line in (4, 8):
        assert abs(spectra[0][line]) > 0.05, "there is something to smooth"
        jw = 2j * math.pi * 20.0 * line
        passed = (1 + jw * 0.005 * 0.05) / (1 + jw * 0.035 * 0.05)
        assert spectra[1][line] == pytest.approx(passed * spectra[0][line], rel=5e-3)
    assert spectra[1][0] == pytest.approx(spectra[0][0], rel=1e-4)
