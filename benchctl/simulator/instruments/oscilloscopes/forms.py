"""The forms of oscilloscope by name."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Now
from benchctl.simulator.instruments.oscilloscopes.models import MODELS
from benchctl.simulator.instruments.oscilloscopes.oscilloscope import SimulatedOscilloscope
from benchctl.simulator.instruments.simulated import SimulatedInstrument
from benchctl.simulator.model.description import OscilloscopeDescription

FORMS: Mapping[str, Callable[[PhysicalBench, Now, OscilloscopeDescription], SimulatedInstrument]] = {
    name: partial(SimulatedOscilloscope, form=form) for name, form in MODELS.items()
}
