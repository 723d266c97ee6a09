"""Makes the output stage of one channel from the amplifier's physics, its input and its load at an instant."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass
from functools import partial
from typing import Any

from benchctl.simulator.amplifier.filters import Filter, filter_of
from benchctl.simulator.amplifier.output_stage import Filtered, Losses, OutputStage, SwitchingStage
from benchctl.simulator.amplifier.transfer import Transfer
from benchctl.simulator.generator_signal import Tone
from benchctl.simulator.model.description import Physics, Plate
from benchctl.simulator.wave import Wave


@dataclass(frozen=True, eq=False)
class Output:
    """What is fixed about one channel, its faults included. Gain, dc and resistance are those of the whole output."""

    gain: float
    offset_v: float
    output_ohm: float
    halves: int
    transfer: Transfer
    """of one half"""
    band: Filter | None
    losses: Losses | None
    """of one half; None for a linear stage"""
    limiter_v: float = math.inf
    """RMS that the whole output never exceeds: a limiter turns the gain down at once"""

    def stage(self, tone: Tone, conductance_s: float, *, gain_left: float = 1.0, live: bool = True) -> OutputStage:
        """The stage for a tone, a part of the gain left by the fold-back, and a load conductance.

        Each half of a bridge gives half the voltage, sees twice the conductance and has half the resistance.
        """
        gain = self.gain * gain_left
        drive_v = min(gain * tone.amplitude_v, self._held_v(tone.wave)) / self.halves
        # Coupled for dc: what a generator has under its sine is amplified too, unless a high-pass stops it.
        dc_v = self.offset_v + (gain * tone.offset_v * (self.band.response(0.0).real if self.band else 1.0))
        make = OutputStage if self.losses is None else partial(SwitchingStage, losses=self.losses)
        return make(
            **self._asked(tone, drive_v),
            offset_v=dc_v / self.halves,
            conductance_s=conductance_s * self.halves,
            output_ohm=self.output_ohm / self.halves,
            live=live,
            transfer=self.transfer,
            halves=self.halves,
        )

    def _held_v(self, wave: Wave | None) -> float:
        """The amplitude at which the limiter holds the tone."""
        return (
            self.limiter_v / (math.sqrt(0.5) if wave is None else wave.rms) if self.limiter_v < math.inf else math.inf
        )

    def _asked(self, tone: Tone, drive_v: float) -> dict[str, Any]:
        """What one half is asked for when `drive_v` goes into its filters."""
        if tone.wave is None:
            if self.band is None:
                return {"amplitude_v": drive_v}
            response = self.band.response(tone.frequency_hz)
            filtered = Filtered(self.band, drive_v, cmath.phase(response))
            return {"amplitude_v": drive_v * abs(response), "filtered": filtered}
        wave = tone.wave.through(self.band.responses, tone.frequency_hz) if self.band else tone.wave
        peak = wave.peak or 1.0
        asked = {"amplitude_v": drive_v * peak, "wave": wave.times(1 / peak)}
        return asked | ({"filtered": Filtered(self.band, drive_v, before=tone.wave)} if self.band else {})


def output_of(physics: Physics, plate: Plate, channel: str, control: float = 1.0) -> Output:
    """The output of one channel; its gain control multiplies the stated gain."""
    faults = physics.faults
    opened = faults.open_device
    missing = opened.half if opened is not None and opened.channel == channel else None
    return Output(
        gain=physics.gain * faults.gain_mismatch.get(channel, 1.0) * control,
        offset_v=physics.offset_v.get(channel, 0.0) + faults.dc_on_output.get(channel, 0.0),
        output_ohm=physics.output_resistance_ohm,
        halves=plate.halves,
        transfer=Transfer(physics.crossover_v / plate.halves, physics.soft_knee, missing),
        band=filter_of(physics.filters, channel),
        losses=_losses(physics, plate) if plate.switching else None,
        limiter_v=physics.limiter_v,
    )


def _losses(physics: Physics, plate: Plate) -> Losses:
    """The losses stated for a channel, for one half of it; switching is stated at the nominal rail."""
    return Losses(
        conduction_ohm=physics.conduction_ohm / plate.halves,
        switching_s=physics.switching_w / plate.halves / physics.rail_v**2,
        ripple_v=physics.ripple_v / plate.halves,
        carrier_hz=physics.carrier_hz,
    )
