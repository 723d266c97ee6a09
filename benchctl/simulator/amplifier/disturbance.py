"""What reaches an output without being asked for: hum of the mains, and the generator's noise."""

from __future__ import annotations

import math
from typing import Literal, NamedTuple

from benchctl.documents.bench_file.imperfections import GeneratorImperfections, MainsImperfections
from benchctl.simulator.wave import Partial, Samples, Wave

Cable = Literal["fed", "open", "closed"]
"""An input's cable: on a generator's output that is on, on one that is off, or ended by a resistor or a short."""


class Hum(NamedTuple):
    """The mains and its harmonics, of an RMS of 1, at any time."""

    wave: Wave
    frequency_hz: float

    def at(self, times_s: Samples) -> Samples:
        """Of an RMS of 1."""
        return self.wave.at(self.frequency_hz * times_s)


class Disturbance(NamedTuple):
    """Of one output, besides what it is asked for."""

    hum: Hum
    asked_v: float
    """RMS of the hum that comes through one half"""
    output_v: float
    """RMS of the hum that comes about at the output"""
    noise_v: float
    """of the generator, at the output, RMS from 20 Hz to 20 kHz"""


class Surroundings:
    """What mains and generator do to every input and output."""

    def __init__(self, mains: MainsImperfections, generator: GeneratorImperfections) -> None:
        self._mains = mains
        self._generator = generator
        self.hum = hum_of(mains)
        self.disturb = any(
            (mains.at_inputs_v, mains.at_open_inputs_v, mains.at_outputs_v, mains.at_probes_v, generator.noise_v)
        )

    def of(self, cable: Cable, gain: float, halves: int) -> Disturbance | None:
        """Of one output whose input has this cable; None where nothing disturbs anything."""
        if not self.disturb:
            return None
        at_input_v = {"fed": self._mains.at_inputs_v, "open": self._mains.at_open_inputs_v, "closed": 0.0}[cable]
        noise_v = self._generator.noise_v if cable == "fed" else 0.0
        return Disturbance(self.hum, gain * at_input_v / halves, self._mains.at_outputs_v, gain * noise_v)


def hum_of(mains: MainsImperfections) -> Hum:
    """The fundamental with the harmonics that are told, in phase at time 0, together of an RMS of 1."""
    parts = (1.0, *mains.harmonics)
    rms = math.sqrt(sum(part**2 for part in parts) / 2)
    partials = [Partial(multiple, part / rms) for multiple, part in enumerate(parts, start=1) if part]
    return Hum(Wave.of_partials(partials), mains.frequency_hz)
