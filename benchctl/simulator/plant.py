"""Everything that is switched and set: signal, amplifier, supply outputs, loads; and the circuit they make."""

from __future__ import annotations

import math

from benchctl.simulator.amplifier import Amplifier, State
from benchctl.simulator.circuit import Circuit, Stage
from benchctl.simulator.converter import OFF, Converter, Source
from benchctl.simulator.description import BenchDescription, ResistorDescription
from benchctl.simulator.drive import Drive, Tone
from benchctl.simulator.loads import LoadBank, ResistorTruth
from benchctl.simulator.supply_outputs import SupplyOutput
from benchctl.simulator.thermal import ThermalChain
from benchctl.simulator.truth import Truth

BLEEDER_OHM = 2200.0
"""Across the lumped reservoir, so that it is not still charged when somebody reaches in (common practice)."""

REMOTE_INPUT_OHM = 4700.0
"""What the remote turn-on input draws its few milliamperes through."""

STARVED_BIAS = 0.25
"""Below this part of the nominal rail the bias circuit has too little to work with."""

MAIN = "main"
"""The name of the supply output that feeds the amplifier."""

SAME_LOAD = 1e-5
"""Relative change of a load below which the circuit counts as the same: a hundredth of what energy must balance to."""

CIRCUITS_KEPT = 64
"""A burst needs two, a converter's ramp some fifty once."""


class Plant:
    """The things on the bench, without time."""

    def __init__(self, description: BenchDescription, truth: Truth) -> None:
        self.description = description
        self.physics = description.amplifier
        self.ambient_c = description.bench.ambient_c
        self.drive = Drive()
        self.outputs, names = _supply_outputs(description)
        self._main = names[MAIN]
        self._remote = names.get(description.remote.output) if description.remote else None
        self.loads = LoadBank(_resistor_truths(description, truth), description.plate.channels, self.ambient_c)
        self.closed_relays: set[int] = set()
        self.stuck_relays: frozenset[int] = frozenset()
        self.open_sensors: frozenset[str] = frozenset()
        self.amplifier = _amplifier(description)
        heatsink = self.physics.heatsink
        self.heatsink = ThermalChain(
            [heatsink.junction_k_per_w, heatsink.ambient_k_per_w],
            [heatsink.junction_capacity_j_per_k, heatsink.capacity_j_per_k],
            self.ambient_c,
        )
        self._conductances_s = self.loads.conductances_s()
        self._circuits: dict[tuple[float, Source, State, float], Circuit] = {}

    @property
    def main_output(self) -> SupplyOutput:
        """The output that feeds the amplifier."""
        return self._main

    @property
    def heatsink_c(self) -> float:
        """Where the heatsink's sensor sits."""
        return self.heatsink.temperatures_c[1]

    @property
    def remote_v(self) -> float:
        """On the amplifier's remote turn-on lead."""
        remote, main_v = self.description.remote, self._main.source().voltage_v
        if self.description.plate.remote_turn_on_v == 0:
            return main_v
        if remote is None:
            return 0.0
        if remote.by == "supply":
            return side_voltage_v(self._remote) if self._remote else 0.0
        if remote.by == "relay" and remote.relay not in self.closed_relays:
            return 0.0
        return main_v

    def temperature_c(self, place: str) -> float | None:
        """Of a place that a thermometer can be fixed to; None for one that the bench has not got or that came off."""
        if place in self.open_sensors:
            return None
        places = {"heatsink": self.heatsink_c, "ambient": self.ambient_c, "load": self.loads.hottest_c()}
        return places.get(place)

    def close_relay(self, relay: int) -> None:
        """Close a relay of the bank, unless it is stuck."""
        if relay not in self.stuck_relays:
            self._switch(relay, closed=True)
            self.closed_relays.add(relay)

    def open_relay(self, relay: int) -> None:
        """Open a relay of the bank, unless it is stuck."""
        if relay not in self.stuck_relays:
            self._switch(relay, closed=False)
            self.closed_relays.discard(relay)

    def circuit(self, tone: Tone, now_s: float) -> Circuit:
        """What all of it makes together at this instant.

        The same object as long as nothing changed, so that what was worked out for it can be found again; resistors
        that warmed by a hundred-thousandth count as unchanged.
        """
        conductances_s = self.loads.conductances_s()
        if any(abs(new - old) > SAME_LOAD * old for new, old in zip(conductances_s, self._conductances_s, strict=True)):
            self._conductances_s = conductances_s
            self._circuits.clear()
        key = (tone.amplitude_v, self._main.source(), self.amplifier.state, self.amplifier.ramp(now_s))
        if key not in self._circuits:
            if len(self._circuits) >= CIRCUITS_KEPT:
                self._circuits.clear()
            self._circuits[key] = self._build(tone, now_s)
        return self._circuits[key]

    def _build(self, tone: Tone, now_s: float) -> Circuit:
        physics, amplifier = self.physics, self.amplifier
        source = self._main.source()
        bias_a = physics.bias_current_a * len(self.description.plate.channels) if amplifier.biased else 0.0
        return Circuit(
            source=source,
            converter=self._converter(source, now_s),
            stages=self._stages(tone),
            reservoir_f=physics.reservoir_f,
            saturation_v=physics.saturation_v,
            bias_a=bias_a,
            bias_knee_v=STARVED_BIAS * physics.rail_v,
            bleeder_ohm=BLEEDER_OHM,
        )

    def _converter(self, source: Source, now_s: float) -> Converter:
        physics = self.physics
        nominal_v = self.description.plate.supply_nominal_v
        awake = self.amplifier.converting
        small_a = physics.housekeeping_w / nominal_v if awake else physics.standby_current_a
        return Converter(
            ratio=physics.rail_v / nominal_v * self.amplifier.ramp(now_s),
            stiffness_ohm=physics.rail_stiffness_ohm,
            efficiency=physics.converter_efficiency,
            small_stages_a=0.0 if source is OFF else small_a,
        )

    def _stages(self, tone: Tone) -> tuple[Stage, ...]:
        physics = self.physics
        channels = zip(self.description.plate.channels, self._conductances_s, strict=True)
        return tuple(
            Stage(
                amplitude_v=physics.gain * tone.amplitude_v,
                offset_v=physics.offset_v.get(channel, 0.0),
                conductance_s=conductance_s,
                output_ohm=physics.output_resistance_ohm,
                live=self.amplifier.playing,
            )
            for channel, conductance_s in channels
        )

    def _switch(self, relay: int, *, closed: bool) -> None:
        resistor = self.loads.by_relay(relay)
        if resistor is not None:
            self.loads.connect(resistor, connected=closed)


def _supply_outputs(description: BenchDescription) -> tuple[dict[int, SupplyOutput], dict[str, SupplyOutput]]:
    """The outputs by number and by name."""
    lead_ohm = description.bench.supply_lead_ohm
    if description.supply is None:
        battery = SupplyOutput(lead_ohm, on=True, voltage_v=description.plate.supply_nominal_v, limit_a=math.inf)
        return {1: battery}, {MAIN: battery}
    outputs = {each.name: SupplyOutput(lead_ohm if each.name == MAIN else 0.0) for each in description.supply.outputs}
    if MAIN not in outputs:
        raise ValueError("no output of the supply is called 'main'; it is the one that feeds the amplifier")
    return {each.number: outputs[each.name] for each in description.supply.outputs}, outputs


def side_voltage_v(output: SupplyOutput) -> float:
    """Of an output that feeds only the remote turn-on input."""
    source = output.source()
    return min(source.voltage_v, source.limit_a * REMOTE_INPUT_OHM)


def _amplifier(description: BenchDescription) -> Amplifier:
    physics, plate = description.amplifier, description.plate
    return Amplifier(
        protection=physics.protection,
        turn_on_delay_s=physics.turn_on_delay_s,
        soft_start_s=min(physics.soft_start_s, physics.turn_on_delay_s),
        # Half the stated remote voltage wakes it (common practice); any supply at all does where there is no lead.
        remote_threshold_v=max(plate.remote_turn_on_v / 2, 1.0),
    )


def _resistor_truths(description: BenchDescription, truth: Truth) -> list[ResistorTruth]:
    load = description.load
    if load is None:
        return []
    if load.kind == "electronic":
        return [ResistorTruth(channel, 0, load.highest_ohm, 0.0, load.rated_power_w) for channel in load.channels]
    return [
        ResistorTruth(
            channel=resistor.channel,
            relay=resistor.relay,
            resistance_ohm=resistor.measured_ohm * (1 + _resistor_error(resistor, truth)),
            temperature_coefficient_per_k=resistor.temperature_coefficient_per_k,
            rated_power_w=resistor.rated_power_w,
        )
        for resistor in load.resistors
    ]


def _resistor_error(resistor: ResistorDescription, truth: Truth) -> float:
    return truth.normal(f"resistor {resistor.relay}", resistor.uncertainty)
