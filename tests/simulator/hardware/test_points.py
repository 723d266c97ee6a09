"""What a multimeter finds at the rails and at the supply's terminals while a tone plays."""

from __future__ import annotations

import math

import pytest

from benchctl.documents.amplifier_file.faults import AmplifierFaults, WeakRail
from benchctl.documents.amplifier_file.simulation import AmplifierSimulation
from benchctl.documents.bench_file.simulation import BenchSimulation, PointSimulation
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.hardware.points import Points
from tests.simulator.benches import awake, describe

POINTS = {
    "plus": PointSimulation(rail="plus"),
    "minus": PointSimulation(rail="minus"),
    "terminals": PointSimulation(supply="terminals"),
}
RELAYS = (101, 102)


def playing(frequency_hz: float, faults: AmplifierFaults | None = None) -> PhysicalBench:
    """0.4 V into an amplifier of gain 31.6 play into 4 ohm; its rails are 40 V behind 0.2 ohm and 50 mF."""
    amplifier = AmplifierSimulation(
        rail_v=40.0, rail_stiffness_ohm=0.2, reservoir_f=0.05, output_resistance_ohm=0.0, faults=faults
    )
    bench = awake(describe(amplifier, BenchSimulation(instrument_errors="none", points=POINTS)), RELAYS)
    drive = bench.connections.drive
    drive.output_on, drive.level_v, drive.frequency_hz = True, 0.4, frequency_hz
    bench.advance(bench.time_s + 1.0)
    return bench


def ripple_v(frequency_hz: float, farads: float) -> float:
    """RMS of a rail: the lines of a half wave's current (1/2, 2/3pi, 2/15pi of its peak) through 0.4 ohm beside the
    reservoir of one rail."""
    peak_a = 2 * 31.6 * math.sqrt(2) * 0.4 / 4.0
    lines = {1: 1 / 2, 2: 2 / (3 * math.pi), 4: 2 / (15 * math.pi)}
    squares = [
        (peak_a * part / abs(1 / 0.4 + 2j * math.pi * multiple * frequency_hz * farads)) ** 2 / 2
        for multiple, part in lines.items()
    ]
    return math.sqrt(sum(squares))


@pytest.mark.parametrize("frequency_hz", [20.0, 100.0])
def test_ac_at_a_rail_is_its_ripple_and_dc_stays_steady(frequency_hz: float) -> None:
    points = Points(playing(frequency_hz))
    assert points.ac_v("plus") == pytest.approx(ripple_v(frequency_hz, 0.025), rel=0.02)
    assert points.dc_v("plus") == pytest.approx(-points.dc_v("minus"), abs=0.03)


def test_a_dead_capacitor_is_found_by_the_ripple_of_its_rail() -> None:
    points = Points(playing(200.0, AmplifierFaults(weak_rail=WeakRail(rail="minus", capacitance=0.05))))
    assert points.ac_v("plus") == pytest.approx(ripple_v(200.0, 0.025), rel=0.03)
    assert points.ac_v("minus") == pytest.approx(ripple_v(200.0, 0.05 * 0.025), rel=0.02)
    assert points.ac_v("minus") > 5 * points.ac_v("plus")


def test_the_terminals_are_read_as_a_mean_while_the_current_swings() -> None:
    """The supply's voltage less the leads' share of the mean current over two cycles."""
    bench = playing(20.0)
    mean_a = bench.supply_means(1, 0.1).current_a
    assert Points(bench).dc_v("terminals") == pytest.approx(14.4 - 0.0015 * mean_a, abs=2e-4)


def test_at_the_terminals_of_an_output_without_an_amplifier_are_the_loads_that_are_connected() -> None:
    """Two resistors of 4 and 2 ohm in parallel: 1 / (1/4 + 1/2)."""
    points = {"load A": PointSimulation(output="A")}
    bench = awake(describe(AmplifierSimulation(), BenchSimulation(instrument_errors="none", points=points)), RELAYS)
    loads = bench.connections.loads
    of_a = [each for each in loads.resistors if each.true_errors.channel == "A"]
    ohms = [each.resistance_ohm for each in of_a]
    for resistor in of_a:
        loads.connect(resistor, connected=True)
    assert Points(bench).resistance_ohm("load A") == pytest.approx(1 / sum(1 / ohm for ohm in ohms))
    for resistor in of_a:
        loads.connect(resistor, connected=False)
    assert Points(bench).resistance_ohm("load A") is None
