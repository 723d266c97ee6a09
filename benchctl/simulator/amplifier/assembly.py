"""Makes the circuit of one instant from the amplifier's physics and the conditions then."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import NamedTuple

from benchctl.documents.amplifier_file.faults import WeakRail
from benchctl.simulator.amplifier.amplifier import Ramp, State
from benchctl.simulator.amplifier.circuit import EVEN, Circuit, Sides
from benchctl.simulator.amplifier.converter import OFF, Converter, Source
from benchctl.simulator.amplifier.disturbance import Cable, Surroundings
from benchctl.simulator.amplifier.output_stage import OutputStage
from benchctl.simulator.amplifier.outputs import output_of
from benchctl.simulator.amplifier.wander import Wander
from benchctl.simulator.generator_signal import Tone
from benchctl.simulator.model.description import Physics, Plate

BLEEDER_OHM = 2200.0
"""Bleeder across the lumped reservoir, so that it is discharged when somebody opens the amplifier (common practice)."""

STARVED_BIAS = 0.25
"""Below this part of the nominal rail the bias circuit no longer works fully."""

BIAS_STATED_C = 25.0
"""The temperature at which a bias is stated."""

NO_WANDER: Mapping[str, Wander] = MappingProxyType({})

CIRCUITS_KEPT = 512
"""A burst needs two, or a hundred where the supply has to recover from it; a converter's ramp some dozens once."""


class OperatingPoint(NamedTuple):
    """All that a circuit depends on, except the loads."""

    tone: Tone
    source: Source
    state: State
    ramp: Ramp
    gain_left: float
    bias_c: float
    joint_open: bool
    driven: frozenset[str]
    """channels whose inputs the generator feeds"""
    amplitudes_v: tuple[tuple[str, float], ...] = ()
    """channel -> the amplitude at its input, where each channel has its own generator output"""
    input_parts: tuple[tuple[str, float], ...] = ()
    """channel -> what is left of the generator's open voltage at its input, where the inputs load it"""
    cables: tuple[tuple[str, Cable], ...] = ()
    """channel -> what its input's cable hangs on, where anything disturbs"""


class _Asked(NamedTuple):
    """All that the output stages depend on."""

    tone: Tone
    gain_left: float
    playing: bool
    joint_open: bool
    driven: frozenset[str]
    amplitudes_v: tuple[tuple[str, float], ...]
    input_parts: tuple[tuple[str, float], ...]
    cables: tuple[tuple[str, Cable], ...]
    conductances_s: tuple[float, ...]


class Assembly:
    """One amplifier, ready to be put under any conditions; `controls`: channel -> the factor that its gain control puts
    on its gain; `capacitor_f` is beside each load; `wanders`: channel -> how its dc wanders, where it does."""

    def __init__(
        self,
        physics: Physics,
        plate: Plate,
        controls: Mapping[str, float],
        surroundings: Surroundings,
        capacitor_f: float = 0.0,
        *,
        wanders: Mapping[str, Wander] = NO_WANDER,
    ) -> None:
        self._physics = physics
        self._surroundings = surroundings
        self._plate = plate
        self._wanders = wanders
        self._channels = tuple(
            output_of(physics, plate, channel, controls[channel], capacitor_f) for channel in plate.channels
        )
        self._sides = _sides(physics.faults.weak_rail)
        self._asked: _Asked | None = None
        self._stages: tuple[OutputStage, ...] = ()
        self._loads_s: tuple[float, ...] = ()
        self._circuits: dict[OperatingPoint, Circuit] = {}
        self._last: tuple[OperatingPoint, Circuit] | None = None

    def circuit(self, now: OperatingPoint, conductances_s: tuple[float, ...]) -> Circuit:
        """The circuit with these loads at the channels; the same object while nothing changed."""
        if conductances_s is not self._loads_s or len(self._circuits) >= CIRCUITS_KEPT:
            self._loads_s, self._last = conductances_s, None
            self._circuits.clear()
        if self._last is None or now != self._last[0]:
            circuit = self._circuits.get(now)
            if circuit is None:
                circuit = self._circuits[now] = self._made(now, conductances_s)
            self._last = now, circuit
        return self._last[1]

    def _made(self, now: OperatingPoint, conductances_s: tuple[float, ...]) -> Circuit:
        physics = self._physics
        return Circuit(
            source=now.source,
            converter=self._converter(now),
            stages=self._stages_for(now, conductances_s),
            reservoir_f=physics.reservoir_f,
            saturation_v=physics.saturation_v,
            bias_a=self._bias_a(now.bias_c) if now.state.biased else 0.0,
            bias_knee_v=STARVED_BIAS * physics.rail_v,
            bleeder_ohm=BLEEDER_OHM,
            frequency_hz=now.tone.frequency_hz,
            esr_ohm=physics.reservoir_esr_ohm,
            sides=self._sides,
            supply_leaks=physics.imperfections.supply_leaks,
        )

    def _bias_a(self, temperature_c: float) -> float:
        """The bias current of all channels."""
        drift = 1 + self._physics.bias_drift_per_k * (temperature_c - BIAS_STATED_C)
        return max(self._physics.bias_current_a * len(self._channels) * drift, 0.0)

    def _converter(self, now: OperatingPoint) -> Converter:
        physics = self._physics
        nominal_v = self._plate.supply_nominal_v
        awake = now.state.converting
        small_a = physics.housekeeping_w / nominal_v if awake else physics.standby_current_a
        regulated = physics.rails == "regulated"
        ratio = physics.rail_v / (physics.dropout_v if regulated else nominal_v)
        return Converter(
            ratio=ratio * now.ramp.part,
            stiffness_ohm=physics.rail_stiffness_ohm,
            efficiency=physics.converter_efficiency,
            small_stages_a=0.0 if now.source is OFF else small_a,
            regulated_v=physics.rail_v * now.ramp.part if regulated else math.inf,
            ratio_per_s=ratio * now.ramp.per_s,
            regulated_v_per_s=physics.rail_v * now.ramp.per_s if regulated else 0.0,
        )

    def _stages_for(self, now: OperatingPoint, conductances_s: tuple[float, ...]) -> tuple[OutputStage, ...]:
        """The same stages while only supply and converter change: hundreds of times in a power-on."""
        asked = _Asked(
            now.tone,
            now.gain_left,
            now.state.playing,
            now.joint_open,
            now.driven,
            now.amplitudes_v,
            now.input_parts,
            now.cables,
            conductances_s,
        )
        if asked != self._asked:
            self._asked, self._stages = asked, self._stages_asked(asked)
        return self._stages

    def _stages_asked(self, asked: _Asked) -> tuple[OutputStage, ...]:
        joint = self._physics.faults.dry_joint
        silent = joint.channel if joint is not None and asked.joint_open else None
        names = self._plate.channels
        stages = tuple(
            output.stage(
                self._input_tone(name, asked),
                conductance_s,
                gain_left=asked.gain_left,
                live=asked.playing and name != silent,
            )
            for name, output, conductance_s in zip(names, self._channels, asked.conductances_s, strict=True)
        )
        for name, stage in zip(names, stages, strict=True):
            stage.wander = self._wanders.get(name)
        if asked.cables:
            self._disturb(stages, asked)
        return stages

    def _disturb(self, stages: Sequence[OutputStage], asked: _Asked) -> None:
        cables, mains_hz = dict(asked.cables), self._surroundings.hum.frequency_hz
        for name, stage, output, load_s in zip(
            self._plate.channels, stages, self._channels, asked.conductances_s, strict=True
        ):
            gain = output.gain_for_hum(asked.gain_left, load_s, mains_hz)
            stage.disturbance = self._surroundings.of(cables[name], gain, stage.halves)

    def _input_tone(self, channel: str, asked: _Asked) -> Tone:
        """At a channel's input: the generator's, or what leaks from the inputs that it feeds."""
        if channel in asked.driven:
            amplitude_v = dict(asked.amplitudes_v).get(channel, asked.tone.amplitude_v)
            part = dict(asked.input_parts).get(channel, 1.0)
            return asked.tone._replace(amplitude_v=part * amplitude_v, offset_v=part * asked.tone.offset_v)
        leaks = self._physics.crosstalk if asked.driven else 0.0
        return asked.tone._replace(amplitude_v=leaks * asked.tone.amplitude_v, offset_v=0.0)


def _sides(weak: WeakRail | None) -> Sides:
    """What the rails have of what they should have."""
    if weak is None:
        return EVEN
    if weak.rail == "plus":
        return Sides((weak.capacitance, 1.0), (weak.voltage, 1.0))
    return Sides((1.0, weak.capacitance), (1.0, weak.voltage))
