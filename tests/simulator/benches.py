"""A bench and an amplifier for the simulator's tests, in plain numbers."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from benchctl.documents.amplifier_file.simulation import AmplifierSimulation
from benchctl.documents.bench_file.simulation import BenchSimulation
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.model.description import (
    BenchDescription,
    GeneratorDescription,
    LoadDescription,
    OscilloscopeDescription,
    Plate,
    RatedLoad,
    RemoteLead,
    ResistorDescription,
    ScopeChannel,
    Spec,
    SupplyDescription,
    SupplyOutputDescription,
    ThermometerDescription,
)
from benchctl.simulator.physics import derive_physics

PLATE = Plate(
    channels=("A", "B"),
    rated=(RatedLoad(4.0, 150.0), RatedLoad(2.0, 250.0)),
    gain=31.6,
    idle_current_a=1.6,
)

RESISTORS = tuple(
    ResistorDescription(channel, ohms, ohms, 0.002, 60e-6, watts, relay)
    for channel, ohms, watts, relay in (
        ("A", 4.0, 600.0, 101),
        ("B", 4.0, 600.0, 102),
        ("A", 2.0, 1000.0, 103),
        ("B", 2.0, 1000.0, 104),
    )
)


def describe(
    physics: AmplifierSimulation | None = None, bench: BenchSimulation | None = None, **parts: Any
) -> BenchDescription:
    """The workshop's bench; `parts` replace whole instruments."""
    description = BenchDescription(
        plate=PLATE,
        amplifier=derive_physics(PLATE, physics),
        generator=GeneratorDescription(level=Spec(0.005, 0.0, 0.001), frequency=Spec(20e-6)),
        oscilloscope=OscilloscopeDescription(
            wiring=(
                ScopeChannel(1, "output A", 1 / 20, 0.005),
                ScopeChannel(2, "output B", 1 / 20, 0.005),
                ScopeChannel(3, "supply current", 0.010, 0.01),
                ScopeChannel(4, "supply voltage", 1 / 10, 0.005),
            ),
            voltage=Spec(0.005, 0.001),
            bits=12,
        ),
        load=LoadDescription("relay bank", RESISTORS),
        supply=SupplyDescription(
            outputs=(SupplyOutputDescription("main", 1, 20.0, 120.0), SupplyOutputDescription("remote", 2, 20.0, 1.0)),
            voltage=Spec(0.0005, 0.0, 0.010),
            current=Spec(0.003, 0.0, 0.060),
        ),
        thermometer=ThermometerDescription({101: "heatsink", 102: "ambient", 103: "load"}, Spec(fixed=1.0)),
        remote=RemoteLead("supply", "remote"),
        bench=bench or BenchSimulation(seed=2150, instrument_errors="none"),
    )
    return replace(description, **parts)


def awake(
    description: BenchDescription | None = None, relays: tuple[int, ...] = (), voltage_v: float = 14.4
) -> PhysicalBench:
    """A simulated bench two seconds after power-on: playing, idle, with the resistors behind `relays` connected."""
    physical_bench = PhysicalBench(description or describe())
    main, remote = physical_bench.connections.outputs[1], physical_bench.connections.outputs[2]
    main.voltage_v, main.limit_a, main.on = voltage_v, 110.0, True
    remote.voltage_v, remote.limit_a, remote.on = 12.0, 0.5, True
    for relay in relays:
        physical_bench.connections.close_relay(relay, physical_bench.time_s)
    physical_bench.advance(2.0)
    return physical_bench


def accounted_j(physical_bench: PhysicalBench) -> float:
    """Where all the energy from the supply went: heat in lead, heatsink and loads, and what the reservoir holds."""
    weak = physical_bench.connections.physics.faults.weak_rail
    parts = [1.0 if weak is None or weak.rail != rail else weak.capacitance for rail in ("plus", "minus")]
    squares_v2 = sum(part * volts**2 for part, volts in zip(parts, physical_bench.rails, strict=True))
    reservoir_j = 0.5 * physical_bench.connections.physics.reservoir_f / 2 * squares_v2
    return physical_bench.meters.lead + physical_bench.meters.heatsink + physical_bench.meters.loads + reservoir_j
