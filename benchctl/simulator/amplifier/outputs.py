"""Makes the output stage of one channel from the amplifier's physics, its input and its load at an instant."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass, field, replace
from functools import lru_cache, partial
from typing import Any

from benchctl.documents.amplifier_file.filters import CrossoverFilter
from benchctl.documents.amplifier_file.imperfections import AmplifierImperfections
from benchctl.simulator.amplifier.filters import Filter, filter_of
from benchctl.simulator.amplifier.output_stage import Filtered, Losses, OutputStage, SwitchingStage
from benchctl.simulator.amplifier.sections import Section, inductance, sections_of, with_capacitor
from benchctl.simulator.amplifier.slewing import slewed
from benchctl.simulator.amplifier.transfer import Bend, Bump, Transfer
from benchctl.simulator.generator_signal import Tone
from benchctl.simulator.model.description import Physics, Plate
from benchctl.simulator.wave import Wave

BANDS_KEPT = 16


@dataclass(frozen=True, eq=False)
class Output:
    """What is fixed about one channel, its faults included. Gain, dc and resistance are those of the whole output."""

    gain: float
    offset_v: float
    output_ohm: float
    halves: int
    transfer: Transfer
    """of one half"""
    filters: tuple[CrossoverFilter, ...]
    sections: tuple[Section, ...]
    """what else is linear about it"""
    losses: Losses | None
    """of one half; None for a linear stage"""
    limiter_v: float = math.inf
    """RMS that the whole output never exceeds: a limiter turns the gain down at once"""
    yields: float = 0.0
    """part of the amplitude by which the dead zone grows"""
    slew_v_per_s: float = math.inf
    """of the whole output"""
    inductance_h: float = 0.0
    """of the whole output"""
    capacitor_f: float = 0.0
    """beside the load; it counts where there is an inductance to ring with, and its current is not counted"""
    channel: str = ""
    _bands: dict[float, Filter | None] = field(default_factory=dict)

    def stage(self, tone: Tone, conductance_s: float, *, gain_left: float = 1.0, live: bool = True) -> OutputStage:
        """The stage for a tone, a part of the gain left by the fold-back, and a load conductance.

        Each half of a bridge gives half the voltage, sees twice the conductance and has half the resistance.
        """
        gain = self.gain * gain_left
        drive_v = min(gain * tone.amplitude_v, self._held_v(tone.wave)) / self.halves
        # Coupled for dc: what a generator has under its sine is amplified too, unless a high-pass stops it.
        band = self._band(conductance_s)
        dc_v = self.offset_v + (gain * tone.offset_v * (band.response(0.0).real if band else 1.0))
        make = OutputStage if self.losses is None else partial(SwitchingStage, losses=self.losses)
        return make(
            **self._asked(tone, drive_v, band),
            offset_v=dc_v / self.halves,
            conductance_s=conductance_s * self.halves,
            output_ohm=self.output_ohm / self.halves,
            live=live,
            transfer=self._yielding(drive_v),
            halves=self.halves,
        )

    def _yielding(self, drive_v: float) -> Transfer:
        """What the drive of one half leaves of the bias."""
        if not self.yields:
            return self.transfer
        return replace(self.transfer, dead_zone_v=self.transfer.dead_zone_v + self.yields * drive_v)

    def gain_for_hum(self, gain_left: float, conductance_s: float, frequency_hz: float) -> float:
        """Of the whole output, at the frequency of the mains."""
        band = self._band(conductance_s)
        return self.gain * gain_left * (abs(band.response(frequency_hz)) if band else 1.0)

    def _held_v(self, wave: Wave | None) -> float:
        """The amplitude at which the limiter holds the tone."""
        return (
            self.limiter_v / (math.sqrt(0.5) if wave is None else wave.rms) if self.limiter_v < math.inf else math.inf
        )

    def _band(self, conductance_s: float) -> Filter | None:
        """All that is linear about it into a load; only an inductance makes it depend on the load."""
        loaded_s = conductance_s if self.inductance_h else 0.0
        if loaded_s not in self._bands:
            if len(self._bands) >= BANDS_KEPT:
                self._bands.clear()
            coil = self._coil(loaded_s)
            self._bands[loaded_s] = filter_of(self.filters, self.channel, (*self.sections, *coil))
        return self._bands[loaded_s]

    def _coil(self, loaded_s: float) -> tuple[Section, ...]:
        if self.inductance_h and self.capacitor_f:
            return (with_capacitor(self.inductance_h, self.output_ohm, loaded_s, self.capacitor_f),)
        return (inductance(self.inductance_h, self.output_ohm, loaded_s),) if loaded_s else ()

    def _asked(self, tone: Tone, drive_v: float, band: Filter | None) -> dict[str, Any]:
        """What one half is asked for when `drive_v` goes into its filters."""
        amplitude_v, wave, lead_rad = drive_v, tone.wave, 0.0
        if band is not None and wave is None:
            response = band.response(tone.frequency_hz)
            amplitude_v, lead_rad = drive_v * abs(response), cmath.phase(response)
        elif band is not None and wave is not None:
            wave = _through(band, wave, tone.frequency_hz)
        if amplitude_v > 0 and self.slew_v_per_s < math.inf:
            wave, lead_rad = self._slewed(wave, lead_rad, amplitude_v, tone.frequency_hz)
        peak = 1.0 if wave is None else wave.peak or 1.0
        return {
            "amplitude_v": amplitude_v * peak,
            "wave": None if wave is None else wave.times(1 / peak),
            "filtered": Filtered(band, drive_v, lead_rad, tone.wave) if band else None,
        }

    def _slewed(
        self, wave: Wave | None, lead_rad: float, amplitude_v: float, frequency_hz: float
    ) -> tuple[Wave | None, float]:
        """Behind a stage that moves only so fast; the lead of a sine that becomes another wave is worked into it."""
        limited = slewed(wave, self.slew_v_per_s / self.halves / (amplitude_v * frequency_hz))
        if limited is None or wave is not None:
            return limited, lead_rad
        return limited.turned(lead_rad / (2 * math.pi)), 0.0


@lru_cache(maxsize=32)
def _through(band: Filter, wave: Wave, frequency_hz: float) -> Wave:
    """Remembered, because loads that warm make the same stage again and again."""
    return wave.through(band.responses, frequency_hz)


def output_of(physics: Physics, plate: Plate, channel: str, control: float = 1.0, capacitor_f: float = 0.0) -> Output:
    """The output of one channel, with a capacitor beside its load; its gain control multiplies the stated gain."""
    faults, imperfections = physics.faults, physics.imperfections
    opened = faults.open_device
    missing = opened.half if opened is not None and opened.channel == channel else None
    return Output(
        gain=physics.gain * faults.gain_mismatch.get(channel, 1.0) * control,
        offset_v=physics.offset_v.get(channel, 0.0) + faults.dc_on_output.get(channel, 0.0),
        output_ohm=physics.output_resistance_ohm,
        halves=plate.halves,
        transfer=Transfer(
            physics.crossover_v / plate.halves,
            physics.soft_knee,
            missing,
            _bend(imperfections, plate.halves),
            (imperfections.class_a_v or 0.0) / plate.halves,
            _bump(imperfections, plate.halves),
        ),
        yields=imperfections.crossover_under_drive,
        filters=physics.filters,
        sections=tuple(sections_of(imperfections, channel)),
        losses=_losses(physics, plate) if plate.switching else None,
        limiter_v=physics.limiter_v,
        slew_v_per_s=imperfections.slew_v_per_s or math.inf,
        inductance_h=imperfections.output_inductance_h or 0.0,
        capacitor_f=capacitor_f,
        channel=channel,
    )


def _bend(imperfections: AmplifierImperfections, halves: int) -> Bend | None:
    """Of one half: it is stated for the whole output."""
    of = imperfections.bend
    if of is None:
        return None
    at_v = of.at_v / halves
    return Bend(of.second / at_v, of.third / at_v**2)


def _bump(imperfections: AmplifierImperfections, halves: int) -> Bump | None:
    """Of one half: it is stated for the whole output."""
    of = imperfections.switch_over
    return None if of is None else Bump(of.at_v / halves, of.height_v / halves, of.width_v / halves)


def _losses(physics: Physics, plate: Plate) -> Losses:
    """The losses stated for a channel, for one half of it; switching is stated at the nominal rail. Edges take the same
    time in each half."""
    return Losses(
        conduction_ohm=physics.conduction_ohm / plate.halves,
        switching_s=physics.switching_w / plate.halves / physics.rail_v**2,
        ripple_v=physics.ripple_v / plate.halves,
        carrier_hz=physics.carrier_hz,
        commutation_s=physics.commutation_s,
        pumps=physics.imperfections.pumps and plate.halves == 1,
    )
