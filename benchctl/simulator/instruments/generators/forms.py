"""The forms of generator by name."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.generators.form import FormGenerator
from benchctl.simulator.instruments.generators.generator import SimulatedGenerator
from benchctl.simulator.instruments.generators.word_forms import WORD_FORMS
from benchctl.simulator.instruments.instrument import Now
from benchctl.simulator.instruments.simulated import SimulatedInstrument
from benchctl.simulator.model.description import GeneratorDescription

FORMS: Mapping[str, Callable[[PhysicalBench, Now, GeneratorDescription], SimulatedInstrument]] = {
    "scpi99": SimulatedGenerator,
    **{name: partial(FormGenerator, form) for name, form in WORD_FORMS.items()},
}
