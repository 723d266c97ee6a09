"""Everything that is switched and set: signal, amplifier, supply outputs, loads; and the circuit they make."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from benchctl.simulator.amplifier.amplifier import Sight
from benchctl.simulator.amplifier.assembly import BIAS_STATED_C, Assembly, OperatingPoint
from benchctl.simulator.amplifier.circuit import Circuit, Outputs
from benchctl.simulator.amplifier.compressor import GAIN_STEP, Compressor
from benchctl.simulator.amplifier.disturbance import Cable, Surroundings
from benchctl.simulator.amplifier.wander import Wander
from benchctl.simulator.generator_signal import SOURCE_OHM, Tone
from benchctl.simulator.hardware.bench_faults import BenchFaults
from benchctl.simulator.hardware.described import (
    MAIN,
    amplifier_of,
    drive_of,
    supply_outputs_of,
    true_resistors_of,
)
from benchctl.simulator.hardware.loads import LoadBank
from benchctl.simulator.hardware.relays import Relays
from benchctl.simulator.hardware.sensors import Sensors
from benchctl.simulator.hardware.supply_outputs import SupplyOutput
from benchctl.simulator.hardware.thermal import ThermalChain
from benchctl.simulator.hardware.watchdog import Watchdog
from benchctl.simulator.model.description import BenchDescription
from benchctl.simulator.model.true_errors import TrueErrors

REMOTE_INPUT_OHM = 4700.0
"""What the remote turn-on input draws its few milliamperes through."""

SAME_LOAD = 1e-5
"""Relative change of a load below which the circuit counts as the same: a hundredth of what energy must balance to."""

LOWEST_CONTROL, HIGHEST_CONTROL = 0.01, 10.0
"""How far a gain control goes from where it stood: 40 dB down and 20 dB up (common practice)."""

COPPER_PER_K, COPPER_STATED_C = 0.00393, 20.0
"""Annealed copper, IEC 60028."""

LEAD_STEP_K = 0.5
"""The supply's leads warm in such steps, a fifth of a per cent of their resistance, so that circuits repeat."""

BIAS_STEP_K = 0.1
"""Bias follows the temperature of the devices in such steps, for the same reason."""


class Signals(NamedTuple):
    """What is at the inputs at an instant.

    Attributes:
        tone: at the highest of the amplitudes.
        until_s: when it changes of itself.
        amplitudes_v: of each channel that has an output of the generator of its own.
    """

    tone: Tone
    until_s: float
    amplitudes_v: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Reference:
    """A steady voltage or current at a probe's tip, or at its oscilloscope input by a plain lead in its place."""

    value: float
    by_plain_lead: bool = False


class Connections:
    """The things on the bench, without time."""

    def __init__(self, description: BenchDescription, true_errors: TrueErrors) -> None:
        self.description = description
        self.physics = description.amplifier
        self.ambient_c = description.bench.ambient_c
        self.drive, self.second_drive = drive_of(description), drive_of(description)
        """the generator's output 2; both share frequency and timing"""
        self.outputs, names = supply_outputs_of(description)
        self.watchdog = Watchdog()
        self._main = names[MAIN]
        self._remote = names.get(description.remote.output) if description.remote else None
        self.loads = LoadBank(true_resistors_of(description, true_errors), description.plate.channels, self.ambient_c)
        self.relays = Relays(description.bench.relay_bounce_s, true_errors, description.bench.relay_delay_s)
        self.faults = BenchFaults()
        self.references: dict[str, Reference] = {}
        """signal of the oscilloscope -> the steady one that its probe or input is on, in a calibration"""
        self.amplifier = amplifier_of(description)
        for output in self.outputs.values():  # any of them may feed the remote turn-on lead
            output.levels_v = (self.amplifier.remote_threshold_v,)
        heatsink = self.physics.heatsink
        self._lead_c = self._warm_leads()
        self.heatsink = ThermalChain(
            [heatsink.junction_k_per_w, heatsink.ambient_k_per_w],
            [heatsink.junction_capacity_j_per_k, heatsink.capacity_j_per_k],
            self.ambient_c,
        )
        places = description.thermometer.channels.values() if description.thermometer is not None else ()
        self.sensors = Sensors(places, description.bench.sensor_lag_s, self.ambient_c, self.faults)
        self._controls = dict.fromkeys(description.plate.channels, 1.0)
        compressor = self.physics.imperfections.compressor
        self._compressor = None if compressor is None else Compressor(compressor)
        imperfect = description.bench.imperfections
        self.surroundings = Surroundings(imperfect.mains, imperfect.generator)
        self._wanders = {
            channel: Wander(rms_v, true_errors.stream(f"dc of output {channel}"))
            for channel, rms_v in self.physics.imperfections.dc_wander_v.items()
        }
        self._capacitor_f = 0.0
        """what a person has connected beside each load"""
        self._assembly = self._assembled()
        self._plugged = frozenset(description.plate.channels)
        self.probed: frozenset[str] | None = None
        """the outputs that a person has put probes onto; None where no probe is moved"""
        self.series_ohm: dict[str, float] = {}
        """channel -> the resistor that is in series with its input; none in most"""
        self.touched: str | None = None
        """the point that a person has put the multimeter's leads onto"""
        self._joint_open = False
        self._conductances_s = self._seen_conductances_s = self.loads.conductances_s()

    def signals_at(self, now_s: float) -> Signals:
        """What is at the inputs, and when it changes of itself."""
        tone, until_s = self.drive.tone_at(now_s)
        outputs = self.description.generator_outputs
        if not outputs:
            return Signals(tone, until_s, ())
        volts = {1: tone.amplitude_v, 2: self.second_drive.tone_at(now_s)[0].amplitude_v}
        amplitudes_v = tuple((channel, volts[output]) for channel, output in outputs.items())
        return Signals(tone._replace(amplitude_v=max(each for _, each in amplitudes_v)), until_s, amplitudes_v)

    @property
    def main_output(self) -> SupplyOutput:
        """The output that feeds the amplifier."""
        return self._main

    @property
    def heatsink_c(self) -> float:
        """Of the heatsink itself, whatever its sensor shows."""
        return self.heatsink.temperatures_c[1]

    def _warm_leads(self) -> ThermalChain | None:
        """The supply's leads where they warm; their resistance is stated for 20 degC."""
        leads = self.description.bench.imperfections.supply.warm_leads
        if leads is None:
            return None
        return ThermalChain([leads.rise_k_per_w], [leads.time_constant_s / leads.rise_k_per_w], self.ambient_c)

    def warm(self, seconds: float, heatsink_w: float, loads_w: Sequence[float], lead_w: float) -> None:
        """Give the heat of some time to what it warms, and let the sensors follow."""
        if self._lead_c is not None:
            self._lead_c.advance(seconds, lead_w)
            rise_k = round(self._lead_c.temperatures_c[0] / LEAD_STEP_K) * LEAD_STEP_K - COPPER_STATED_C
            self._main.lead_ohm = self.description.bench.supply_lead_ohm * (1 + COPPER_PER_K * rise_k)
        self.heatsink.advance(seconds, heatsink_w)
        self.loads.advance(seconds, loads_w)
        self.sensors.follow(seconds, {"heatsink": self.heatsink_c, "load": self.loads.hottest_c()})

    @property
    def remote_v(self) -> float:
        """On the amplifier's remote turn-on lead."""
        remote = self.description.remote
        if self.description.plate.remote_turn_on_v == 0:
            return self._main.open_v
        if remote is None:
            return 0.0
        if remote.by == "supply":
            return side_voltage_v(self._remote) if self._remote else 0.0
        if remote.by == "relay" and remote.relay not in self.relays.made:
            return 0.0
        return self._main.open_v

    @property
    def closed_relays(self) -> set[int]:
        """Relays of the bank that were told to close and did."""
        return self.relays.closed

    def close_relay(self, relay: int, now_s: float) -> None:
        """Close a relay of the bank, if it can be."""
        if self.relays.close(relay, now_s):
            self._follow_contact(relay)

    def open_relay(self, relay: int, now_s: float) -> None:
        """Open a relay of the bank, if it can be."""
        if self.relays.open(relay, now_s):
            self._follow_contact(relay)

    def slew(self, now_s: float) -> float:
        """Bring the supply's voltages on their way; when to do so again, infinity once all are there."""
        return min([output.move(now_s) for output in self.outputs.values()])

    def bounce(self, now_s: float) -> None:
        """Let the contacts of relays move that were told to, or that bounce."""
        for relay in self.relays.bounce(now_s):
            self._follow_contact(relay)

    def put_in_series(self, resistor_ohm: float | None) -> None:
        """A resistor of its own in series with each input that the generator feeds; None: no longer."""
        self.series_ohm = {} if resistor_ohm is None else dict.fromkeys(self._plugged, resistor_ohm)

    def plug(self, channels: Iterable[str]) -> None:
        """Put the generator's plugs into these inputs, and a shorting plug into every other."""
        self._plugged = frozenset(channels)

    def probe(self, channels: Iterable[str]) -> None:
        """Put the probes onto these outputs; of the outputs that share an oscilloscope channel it sees this one."""
        self.probed = frozenset(channels)

    def turn(self, channel: str, factor: float) -> None:
        """Turn a channel's gain control, so that its gain becomes so many times what it is; at its ends it stops."""
        self._controls[channel] = min(max(self._controls[channel] * factor, LOWEST_CONTROL), HIGHEST_CONTROL)
        self._assemble()

    def put_beside_loads(self, capacitor_f: float | None) -> None:
        """A capacitor beside each load; None: no longer."""
        self._capacitor_f = capacitor_f or 0.0
        self._assemble()

    def _assemble(self) -> None:
        self._assembly = self._assembled()

    def _assembled(self) -> Assembly:
        plate, surroundings = self.description.plate, self.surroundings
        return Assembly(self.physics, plate, self._controls, surroundings, self._capacitor_f, wanders=self._wanders)

    def circuit(self, signals: Signals, now_s: float) -> Circuit:
        """What all of it makes together at this instant.

        The same object as long as nothing changed, so that what was worked out for it can be found again; resistors
        that warmed by a hundred-thousandth count as unchanged.
        """
        self._follow_loads()
        return self._assembly.circuit(self._operating_point(signals, now_s), self._conductances_s)

    def _follow_loads(self) -> None:
        conductances_s = self.loads.conductances_s()
        if conductances_s is self._seen_conductances_s:
            return
        self._seen_conductances_s = conductances_s
        if any(abs(new - old) > SAME_LOAD * old for new, old in zip(conductances_s, self._conductances_s, strict=True)):
            self._conductances_s = conductances_s

    def look(self, now_s: float, terminal_v: float, outputs: Outputs, rail_v: float) -> bool:
        """Let the amplifier's protections and a dry joint follow what has come about; True if either changed."""
        sight = Sight(self.remote_v, terminal_v, self.heatsink_c, *outputs, rail_v)
        joint_changed = self._move_joint()
        return self.amplifier.look(now_s, sight) or joint_changed

    def _move_joint(self) -> bool:
        joint = self.physics.faults.dry_joint
        if joint is None:
            return False
        was_open = self._joint_open
        self._joint_open = self.heatsink_c > (joint.closes_c if was_open else joint.opens_c)
        return self._joint_open is not was_open

    def _operating_point(self, signals: Signals, now_s: float) -> OperatingPoint:
        """Tones that differ only in when they began make the same circuit."""
        amplifier, tone = self.amplifier, signals.tone
        return OperatingPoint(
            tone=Tone(tone.amplitude_v, tone.frequency_hz, 0.0, None, tone.offset_v, None, tone.wave),
            source=self._main.source(),
            state=amplifier.state,
            ramp=amplifier.ramp(now_s),
            gain_left=self._gain_left(),
            bias_c=self._bias_temperature_c(),
            joint_open=self._joint_open,
            driven=self._driven_channels(signals),
            amplitudes_v=signals.amplitudes_v,
            input_parts=self._input_parts(),
            cables=self._cables() if self.surroundings.disturb else (),
        )

    def _input_parts(self) -> tuple[tuple[str, float], ...]:
        """Of the generator's open voltage, what is left at each input that loads it; none where no input does.

        Every input, behind its series resistor, hangs on one output behind its 50 ohm (voltage divider).
        """
        input_ohm = self.physics.imperfections.input_ohm
        if input_ohm is None:
            return ()
        paths_s = {channel: 1 / (input_ohm + self.series_ohm.get(channel, 0.0)) for channel in self._plugged}
        of_output = 1 / (1 + SOURCE_OHM * sum(paths_s.values()))
        return tuple(sorted((channel, input_ohm * path_s * of_output) for channel, path_s in paths_s.items()))

    def _gain_left(self) -> float:
        """Of fold-back and compressor, in steps."""
        left = self.amplifier.gain_left(self.heatsink_c) * (self._compressor.gain if self._compressor else 1.0)
        return math.ceil(left / GAIN_STEP) * GAIN_STEP

    def compress(self, now_s: float, tone: Tone) -> float:
        """Let a compressor follow the tone that sounds from now on; when to do so again."""
        if self._compressor is None:
            return math.inf
        rms = math.sqrt(0.5) if tone.wave is None else tone.wave.rms
        return self._compressor.follow(now_s, self.physics.gain * tone.amplitude_v * rms)

    def _cables(self) -> tuple[tuple[str, Cable], ...]:
        """What the cable of each input hangs on."""
        outputs, connected = self.description.generator_outputs, self._connected_channels()

        def cable(channel: str) -> Cable:
            if channel not in connected:
                return "closed"
            drive = self.second_drive if outputs.get(channel) == 2 else self.drive
            return "fed" if drive.output_on else "open"

        return tuple((channel, cable(channel)) for channel in self.description.plate.channels)

    def _driven_channels(self, signals: Signals) -> frozenset[str]:
        fed = self._fed_channels(signals)
        if not self.faults.any_swapped:
            return fed
        return frozenset([self.faults.truly("generator", channel) for channel in fed])

    def _fed_channels(self, signals: Signals) -> frozenset[str]:
        """Those that the generator is plugged into, unless a relay is in the way; or those whose own output of the
        generator gives anything."""
        if signals.amplitudes_v:
            return frozenset(channel for channel, volts in signals.amplitudes_v if volts > 0.0)
        return self._connected_channels()

    def _connected_channels(self) -> frozenset[str]:
        """Those whose inputs have the cable of the generator, switched on or not."""
        made = self.relays.made
        apart = [channel for channel, relay in self.description.input_relays.items() if relay not in made]
        return self._plugged.difference(apart) if apart else self._plugged

    def _bias_temperature_c(self) -> float:
        """Of the devices; where the bias does not drift it stays the stated one."""
        if self.physics.bias_drift_per_k == 0:
            return BIAS_STATED_C
        return round(self.heatsink.temperatures_c[0] / BIAS_STEP_K) * BIAS_STEP_K

    def _follow_contact(self, relay: int) -> None:
        resistor = self.loads.by_relay(int(self.faults.truly("load", str(relay))))
        if resistor is not None:
            self.loads.connect(resistor, connected=relay in self.relays.made)


def side_voltage_v(output: SupplyOutput) -> float:
    """Of an output that feeds only the remote turn-on input."""
    return min(output.open_v, output.limit_a * REMOTE_INPUT_OHM)
