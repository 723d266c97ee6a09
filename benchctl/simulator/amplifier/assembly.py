"""Makes the circuit of one instant from the amplifier's physics and the conditions then."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from benchctl.simulator.amplifier.amplifier import State
from benchctl.simulator.amplifier.circuit import Circuit
from benchctl.simulator.amplifier.converter import OFF, Converter, Source
from benchctl.simulator.amplifier.output_stage import OutputStage
from benchctl.simulator.amplifier.outputs import output_of
from benchctl.simulator.generator_signal import Tone
from benchctl.simulator.model.description import Physics, Plate

BLEEDER_OHM = 2200.0
"""Across the lumped reservoir, so that it is not still charged when somebody reaches in (common practice)."""

STARVED_BIAS = 0.25
"""Below this part of the nominal rail the bias circuit has too little to work with."""

BIAS_STATED_C = 25.0
"""The temperature at which a bias is stated."""


class OperatingPoint(NamedTuple):
    """All that a circuit depends on, but for the loads."""

    tone: Tone
    source: Source
    state: State
    ramp: float
    gain_left: float
    bias_c: float
    joint_open: bool
    driven: frozenset[str]
    """channels whose inputs the generator feeds"""


class Assembly:
    """One amplifier, ready to be put under any conditions; `controls`: channel -> what its gain control makes of its
    gain."""

    def __init__(self, physics: Physics, plate: Plate, controls: Mapping[str, float]) -> None:
        self._physics = physics
        self._plate = plate
        self._channels = tuple(output_of(physics, plate, channel, controls[channel]) for channel in plate.channels)

    def circuit(self, now: OperatingPoint, conductances_s: Sequence[float]) -> Circuit:
        """With a load of so much at each channel."""
        physics = self._physics
        return Circuit(
            source=now.source,
            converter=self._converter(now),
            stages=self._stages(now, conductances_s),
            reservoir_f=physics.reservoir_f,
            saturation_v=physics.saturation_v,
            bias_a=self._bias_a(now.bias_c) if now.state.biased else 0.0,
            bias_knee_v=STARVED_BIAS * physics.rail_v,
            bleeder_ohm=BLEEDER_OHM,
        )

    def _bias_a(self, temperature_c: float) -> float:
        """Of all channels."""
        drift = 1 + self._physics.bias_drift_per_k * (temperature_c - BIAS_STATED_C)
        return max(self._physics.bias_current_a * len(self._channels) * drift, 0.0)

    def _converter(self, now: OperatingPoint) -> Converter:
        physics = self._physics
        nominal_v = self._plate.supply_nominal_v
        awake = now.state.converting
        small_a = physics.housekeeping_w / nominal_v if awake else physics.standby_current_a
        regulated = physics.rails == "regulated"
        return Converter(
            ratio=physics.rail_v / (physics.dropout_v if regulated else nominal_v) * now.ramp,
            stiffness_ohm=physics.rail_stiffness_ohm,
            efficiency=physics.converter_efficiency,
            small_stages_a=0.0 if now.source is OFF else small_a,
            regulated_v=physics.rail_v * now.ramp if regulated else math.inf,
        )

    def _stages(self, now: OperatingPoint, conductances_s: Sequence[float]) -> tuple[OutputStage, ...]:
        joint = self._physics.faults.dry_joint
        silent = joint.channel if joint is not None and now.joint_open else None
        names = self._plate.channels
        return tuple(
            output.stage(
                self._input_tone(name, now),
                conductance_s,
                gain_left=now.gain_left,
                live=now.state.playing and name != silent,
            )
            for name, output, conductance_s in zip(names, self._channels, conductances_s, strict=True)
        )

    def _input_tone(self, channel: str, now: OperatingPoint) -> Tone:
        """At a channel's input: the generator's, or what leaks from the inputs that it feeds."""
        if channel in now.driven:
            return now.tone
        leaks = self._physics.crosstalk if now.driven else 0.0
        return replace(now.tone, amplitude_v=leaks * now.tone.amplitude_v)
