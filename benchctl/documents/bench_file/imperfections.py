"""`simulation: imperfections:` of a bench file: what is not ideal about a simulated workshop.

Everything is off unless it is given, so a bench without this section is as clean as its instruments' accuracies allow.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from benchctl.documents.bench_file.supply_imperfections import SupplyImperfections
from benchctl.documents.model.fields import (
    NotNegativeNumber,
    NotNegativeSeconds,
    NotNegativeVolts,
    PerKelvin,
    PositiveHertz,
    PositiveSeconds,
    Ratio,
    ScopeChannel,
    Seconds,
    Volts,
    bounded,
)
from benchctl.documents.model.model_base import Part

Share = Annotated[Ratio, bounded("1", at_least=0, below=1)]


class GeneratorImperfections(Part):
    """What the generator adds to its tone while its output is on."""

    second_harmonic: Share = Field(
        default=0.0, description="second harmonic, over the tone, at any level", examples=["0.01 %"]
    )
    third_harmonic: Share = Field(
        default=0.0, description="third harmonic, over the tone, at any level", examples=["0.02 %"]
    )
    noise_v: NotNegativeVolts = Field(
        default=0.0, description="noise at its output, RMS from 20 Hz to 20 kHz, at any level", examples=["20 uV"]
    )
    offset_v: Volts = Field(default=0.0, description="dc at its output, which no setting takes away")


class OscilloscopeImperfections(Part):
    """What the oscilloscope and its probes do to a signal."""

    noise_floor_v: NotNegativeVolts = Field(
        default=0.0,
        description="noise of each input at its full bandwidth, RMS at the input, that is the same on every range",
        examples=["0.2 mV"],
    )
    noise_of_range: Share = Field(
        default=0.0,
        description="noise of each input at its full bandwidth, RMS, as a part of the range; it adds to the floor in "
        "squares",
        examples=["0.1 %"],
    )
    converter_noise: NotNegativeNumber = Field(
        default=0.4,
        description="noise of the converter itself, RMS, in its steps; with less than about a third, a flat top stays "
        "on one step",
    )
    unlike_steps: Annotated[NotNegativeNumber, bounded("", at_most=0.3)] = Field(
        default=0.0,
        description="how far each step of the converters begins from where it should, RMS, in steps; means over many "
        "samples are then off by a part of that, however long the record is",
        examples=[0.1],
    )
    bandwidth_hz: PositiveHertz = Field(default=100e6, description="full bandwidth of the inputs")
    bandwidth_limit_hz: PositiveHertz | None = Field(
        default=None,
        description="bandwidth that the inputs' limit is switched to; their own noise falls with its root. If left "
        "out, it is off",
        examples=["20 MHz"],
    )
    range_gain: Share = Field(
        default=0.0,
        description="limit of error of the gain of each range, beside that of the channel; another on every range",
        examples=["0.5 %"],
    )
    record_gain: Share = Field(
        default=0.0,
        description="how far the gain of each input moves from record to record, as a standard deviation, "
        "within what its accuracy states",
        examples=["0.02 %"],
    )
    warm_up_gain: Ratio = Field(
        default=0.0, description="by how much the gain of all inputs changes while it warms up", examples=["0.2 %"]
    )
    warm_up_s: PositiveSeconds = Field(default=1200.0, description="time constant with which it warms up")
    zero_drift: Share = Field(
        default=0.0,
        description="part of the stated limit of error of zero by which the zero of an input moves, at most, while it "
        "warms up; another on every range",
        examples=["10 %"],
    )
    temperature_gain_per_k: PerKelvin = Field(
        default=0.0,
        json_schema_extra={"default": "0 ppm/K"},
        description="how the gain of all inputs changes with the air in the workshop, from 23 degC",
    )
    probe_bandwidth_hz: PositiveHertz | None = Field(
        default=None, description="bandwidth of each voltage probe, one pole; if left out, it has no limit"
    )
    clamp_bandwidth_hz: PositiveHertz | None = Field(
        default=None, description="bandwidth of the current clamp, one pole; if left out, it has no limit"
    )
    skew_s: dict[ScopeChannel, Seconds] = Field(
        default_factory=dict, description="how much later a channel shows everything, by its number"
    )
    trigger_jitter_s: NotNegativeSeconds = Field(
        default=0.0, description="how far the trigger is off from record to record, RMS", examples=["2 ns"]
    )
    crosstalk: Share = Field(
        default=0.0,
        description="part of the alternating voltage at each other input that reaches an input",
        examples=["-60 dB"],
    )
    shared_gain: Annotated[Ratio, bounded("1", at_least=0, at_most=1)] = Field(
        default=0.0,
        description="part of the variance of the inputs' errors of gain that all inputs have in common, "
        "as they share one reference",
        examples=["50 %"],
    )


class MainsImperfections(Part):
    """What the mains of the workshop leaves in the signals; all levels are RMS, with the harmonics."""

    frequency_hz: PositiveHertz = Field(default=50.0, description="true frequency of the mains")
    harmonics: tuple[Share, ...] = Field(
        default=(),
        description="second, third and further harmonics of every hum, over its fundamental",
        examples=[["10 %", "40 %", "5 %", "20 %"]],
    )
    at_inputs_v: NotNegativeVolts = Field(
        default=0.0,
        description="at each input that the generator feeds, by the loop of their grounds",
        examples=["0.1 mV"],
    )
    at_open_inputs_v: NotNegativeVolts = Field(
        default=0.0,
        description="at each input whose cable hangs on an output of the generator that is off",
        examples=["2 mV"],
    )
    at_outputs_v: NotNegativeVolts = Field(
        default=0.0, description="at each output while the amplifier plays, whatever its input has", examples=["0.2 mV"]
    )
    at_probes_v: NotNegativeVolts = Field(
        default=0.0,
        description="at the tip of each voltage probe, by the loop of the oscilloscope's ground, also with all off",
        examples=["1 mV"],
    )


class Imperfections(Part):
    """What is not ideal about the workshop, by where it comes from."""

    generator: GeneratorImperfections = Field(
        default_factory=GeneratorImperfections, description="what the generator adds to its tone"
    )
    oscilloscope: OscilloscopeImperfections = Field(
        default_factory=OscilloscopeImperfections, description="what the oscilloscope and its probes do to a signal"
    )
    mains: MainsImperfections = Field(
        default_factory=MainsImperfections, description="what the mains of the workshop leaves in the signals"
    )
    supply: SupplyImperfections = Field(
        default_factory=SupplyImperfections, description="what is not ideal about the supply and its leads"
    )
