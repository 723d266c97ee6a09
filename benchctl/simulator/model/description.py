"""What a simulated bench consists of: no document, no driver, only numbers.

The launch layer fills a `BenchDescription` from a bench file and an amplifier file; everything the simulator knows
comes through it. Times, voltages and the rest are in base units.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from benchctl.documents.amplifier_file.faults import AmplifierFaults
from benchctl.documents.amplifier_file.filters import CrossoverFilter
from benchctl.documents.amplifier_file.imperfections import AmplifierImperfections
from benchctl.documents.amplifier_file.simulation import HeatsinkSimulation, ProtectionSimulation
from benchctl.documents.bench_file.simulated_instruments import (
    GeneratorSimulation,
    InstrumentSimulation,
    LoadSimulation,
    MultimeterSimulation,
    OscilloscopeSimulation,
    SupplySimulation,
    ThermometerSimulation,
)
from benchctl.documents.bench_file.simulation import BenchSimulation


@dataclass(frozen=True)
class RatedLoad:
    """One line of the rating plate: power of each channel, with all channels driven, at a distortion."""

    load_ohm: float
    power_w: float
    distortion: float = 0.01


@dataclass(frozen=True)
class Plate:
    """What the rating plate says, as far as the simulated physics can be derived from it."""

    channels: tuple[str, ...]
    rated: tuple[RatedLoad, ...]
    gain: float
    supply_nominal_v: float = 14.4
    supply_minimum_v: float = 10.5
    idle_current_a: float | None = None
    heatsink_maximum_c: float = 85.0
    heatsink_k_per_w: float = 0.3
    """to the air"""
    heatsink_time_constant_s: float = 500.0
    remote_turn_on_v: float = 12.0
    """0: the amplifier has no remote lead and wakes with its supply"""
    turn_on_delay_s: float = 2.0
    switching: bool = False
    """class D"""
    floating: bool = False
    """every output is a bridge of two halves"""
    rails: Literal["unregulated", "regulated"] = "unregulated"

    @property
    def halves(self) -> int:
        """Halves of each output."""
        return 2 if self.floating else 1


@dataclass(frozen=True)
class Physics:
    """The amplifier's physical parameters, complete, its faults included; `derive_physics` makes them."""

    gain: float
    rail_v: float
    """each rail, unloaded, at the nominal supply"""
    rail_stiffness_ohm: float
    reservoir_f: float
    saturation_v: float
    output_resistance_ohm: float
    converter_efficiency: float
    rails: Literal["unregulated", "regulated"]
    dropout_v: float
    """of regulated rails: below this at the terminals they follow the supply"""
    bias_current_a: float
    """per channel, from rail to rail"""
    bias_drift_per_k: float
    soft_knee: float
    crossover_v: float
    """dead zone on either side of zero, at the output"""
    conduction_ohm: float
    """of a class D output"""
    switching_w: float
    """per channel, class D"""
    ripple_v: float
    carrier_hz: float
    filters: tuple[CrossoverFilter, ...]
    housekeeping_w: float
    standby_current_a: float
    noise_v: float
    """RMS from 20 Hz to 20 kHz"""
    noise_bandwidth_hz: float
    offset_v: Mapping[str, float]
    heatsink: HeatsinkSimulation
    protection: ProtectionSimulation
    turn_on_delay_s: float
    soft_start_s: float
    faults: AmplifierFaults
    crosstalk: float = 0.0
    """part of a driven input's signal that reaches the inputs that are not driven"""
    reservoir_esr_ohm: float = 0.0
    """series resistance, both rails taken as one"""
    commutation_s: float = 0.0
    """class D: how long voltage and current overlap at each edge of the carrier"""
    limiter_v: float = math.inf
    """RMS that no output exceeds before clipping; infinite: there is no limiter"""
    imperfections: AmplifierImperfections = field(default_factory=AmplifierImperfections)


@dataclass(frozen=True)
class Spec:
    """Limits of error: of the reading, of the range, and fixed (in the quantity's own unit)."""

    reading: float = 0.0
    range: float = 0.0
    fixed: float = 0.0


@dataclass(frozen=True)
class GeneratorDescription:
    """The function generator."""

    level: Spec = field(default_factory=Spec)
    frequency: Spec = field(default_factory=Spec)
    highest_level_v: float = 7.0
    highest_frequency_hz: float = 1e6
    simulated: GeneratorSimulation = field(default_factory=GeneratorSimulation)


@dataclass(frozen=True)
class ScopeChannel:
    """What one oscilloscope channel is wired to."""

    number: int
    signal: str
    """"output A", "output B", ..., "supply current", "supply voltage": the names of a capture; or "sync", the
    generator's sync output"""
    volts_per_unit: float
    """what the probe gives for a volt (1/ratio) or an ampere (sensitivity)"""
    accuracy: float = 0.0
    """of the probe, relative"""


@dataclass(frozen=True)
class OscilloscopeDescription:
    """The oscilloscope and its probes."""

    wiring: tuple[ScopeChannel, ...]
    voltage: Spec = field(default_factory=Spec)
    bits: int = 8
    memory: int = 1_000_000
    sample_rate: float = 50e6
    input_v: float = 300.0
    channels: int = 4
    external_trigger: bool = True
    """whether the generator's sync output is wired to the external trigger"""
    simulated: OscilloscopeSimulation = field(default_factory=OscilloscopeSimulation)


@dataclass(frozen=True)
class ResistorDescription:
    """One load resistor, as its owner knows it."""

    channel: str
    nominal_ohm: float
    measured_ohm: float
    uncertainty: float
    """relative, k = 2"""
    temperature_coefficient_per_k: float = 0.0
    rated_power_w: float = 300.0
    relay: int = 0
    """for resistors that a person connects: the name of this one"""


@dataclass(frozen=True)
class LoadDescription:
    """The load: a relay-switched bank, resistors that a person connects, or an electronic load whose inputs follow one
    setting."""

    kind: Literal["relay bank", "by hand", "electronic"]
    resistors: tuple[ResistorDescription, ...] = ()
    channels: tuple[str, ...] = ()
    """of an electronic load: the amplifier channels on its inputs"""
    resistance: Spec = field(default_factory=Spec)
    lowest_ohm: float = 0.1
    highest_ohm: float = 10_000.0
    rated_power_w: float = 1000.0
    simulated: LoadSimulation = field(default_factory=LoadSimulation)


@dataclass(frozen=True)
class SupplyOutputDescription:
    """One output of the supply."""

    name: str
    number: int
    highest_voltage_v: float
    highest_current_a: float


@dataclass(frozen=True)
class SupplyDescription:
    """The supply; its output `main` feeds the amplifier."""

    outputs: tuple[SupplyOutputDescription, ...]
    voltage: Spec = field(default_factory=Spec)
    current: Spec = field(default_factory=Spec)
    simulated: SupplySimulation = field(default_factory=SupplySimulation)


@dataclass(frozen=True)
class RemoteLead:
    """What feeds the amplifier's remote turn-on lead."""

    by: Literal["supply", "relay", "hand"]
    output: str = "remote"
    """the supply output, where `by` is supply"""
    relay: int = 0
    """the relay of the load's bank that switches it from the main output, where `by` is relay"""


@dataclass(frozen=True)
class ThermometerDescription:
    """The thermometer: channel number to the place of its sensor (heatsink, load, anything else is in the air)."""

    channels: Mapping[int, str]
    temperature: Spec = field(default_factory=Spec)
    noise_k: float = 0.02
    inputs: tuple[int, ...] = tuple(range(101, 121))
    """numbers that exist; without a sensor they read open circuit"""
    simulated: ThermometerSimulation = field(default_factory=ThermometerSimulation)


@dataclass(frozen=True)
class MultimeterDescription:
    """The multimeter."""

    channels: Mapping[int, str] = field(default_factory=dict)
    """channel of its scanner -> the point that is wired to it; without any, a person moves its leads"""
    dc_voltage: Spec = field(default_factory=Spec)
    ac_voltage: Spec = field(default_factory=Spec)
    resistance: Spec = field(default_factory=Spec)
    temperature: Spec = field(default_factory=Spec)
    simulated: MultimeterSimulation = field(default_factory=MultimeterSimulation)


@dataclass(frozen=True)
class BenchDescription:
    """Everything behind the sockets; a role that the bench does not have is None."""

    plate: Plate
    amplifier: Physics
    generator: GeneratorDescription | None = None
    oscilloscope: OscilloscopeDescription | None = None
    load: LoadDescription | None = None
    supply: SupplyDescription | None = None
    """None: a battery of the nominal voltage that nobody switches"""
    thermometer: ThermometerDescription | None = None
    multimeter: MultimeterDescription | None = None
    remote: RemoteLead | None = None
    """None: nothing is on the amplifier's remote lead"""
    input_relays: Mapping[str, int] = field(default_factory=dict)
    """amplifier channel -> the relay of the load's bank that feeds its input; without any, every input is fed"""
    generator_outputs: Mapping[str, int] = field(default_factory=dict)
    """amplifier channel -> the generator's output, 1 or 2, that feeds its input; without any, output 1 feeds all"""
    bench: BenchSimulation = field(default_factory=BenchSimulation)

    def simulated(self, role: str) -> InstrumentSimulation:
        """How the instrument in a role speaks."""
        instrument = getattr(self, role)
        return instrument.simulated if instrument is not None else InstrumentSimulation()
