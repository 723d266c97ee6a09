"""`simulation: imperfections:` of an amplifier file: what real amplifiers do to a signal and ideal ones do not.

Everything is off unless it is given.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any

from pydantic import Field

from benchctl.documents.amplifier_file.power_side import InputCapacitor, Thump
from benchctl.documents.model.fields import (
    ChannelName,
    NotNegativeVolts,
    PositiveHenries,
    PositiveHertz,
    PositiveNumber,
    PositiveOhms,
    PositiveSeconds,
    PositiveVolts,
    Ratio,
    Volts,
    VoltsPerSecond,
    YesNo,
    bounded,
)
from benchctl.documents.model.model_base import Part, PathProblem

Bending = Annotated[Ratio, bounded("1", at_least=-0.3, at_most=0.3)]
SlewRate = Annotated[VoltsPerSecond, bounded("V/s", above=0)]


class OutputFilter(Part):
    """A low-pass of second order, as the coil and capacitor of a class D output, or the roll-off of any amplifier."""

    corner_hz: PositiveHertz = Field(description="its natural frequency")
    damping: Annotated[PositiveNumber, bounded("", at_least=0.05, at_most=10)] = Field(
        default=0.7071,
        description="its damping ratio: 0.7071 is maximally flat; the lower, the more a step overshoots",
    )


class Bend(Part):
    """A characteristic that is bent: output = x + second·x²/at + third·x³/at², with x the output of a straight one."""

    at_v: PositiveVolts = Field(description="output voltage for which the two parts are stated")
    second: Bending = Field(default=0.0, description="part of second order at that voltage, which gives even harmonics")
    third: Bending = Field(default=0.0, description="part of third order at that voltage, which gives odd harmonics")


class SwitchOver(Part):
    """A bump of the output around one voltage, as where a class H amplifier switches its rails over: output = x +
    height·exp(-((x - at)/width)²), the same below zero."""

    at_v: PositiveVolts = Field(description="output voltage at which it is")
    height_v: Volts = Field(description="how high it is")
    width_v: PositiveVolts = Field(description="how wide it is; a third of `at` at most")

    def problems(self) -> Iterator[PathProblem]:
        if self.width_v > self.at_v / 3:
            yield PathProblem(("width",), "it must be a third of 'at' at most, or the bump reaches down to zero")


class CompressorSimulation(Part):
    """A limiter that is not instant: it turns the gain down where the output would be above a threshold."""

    threshold_v: PositiveVolts = Field(description="RMS output above which the gain falls")
    ratio: Annotated[PositiveNumber, bounded("", above=1)] = Field(
        default=10.0, description="decibels at the input for one more at the output, above the threshold"
    )
    attack_s: PositiveSeconds = Field(default=0.005, description="time constant with which the gain falls")
    release_s: PositiveSeconds = Field(default=0.2, description="time constant with which it comes back")


class AmplifierImperfections(Part):
    """What the amplifier does to a signal beside amplifying and clipping it."""

    inverted: tuple[ChannelName, ...] = Field(default=(), description="channels whose output is inverted")
    lag_hz: dict[ChannelName, PositiveHertz] = Field(
        default_factory=dict,
        description="frequency at which a channel lags by 90 degrees, by channel: an all-pass of first order",
    )
    coupling_hz: PositiveHertz | None = Field(
        default=None,
        description="corner of the coupling capacitors, a high-pass of first order; if left out, it is coupled for dc",
    )
    output_filter: OutputFilter | None = Field(
        default=None, description="low-pass of second order; if left out, the amplifier has no upper limit"
    )
    slew_v_per_s: SlewRate | None = Field(
        default=None, description="how fast the output can move; if left out, as fast as it likes", examples=["5 V/us"]
    )
    bend: Bend | None = Field(default=None, description="a characteristic that is not straight")
    class_a_v: PositiveVolts | None = Field(
        default=None,
        description="output up to which both devices conduct, so that `crossover` is lost only beyond it, over four "
        "times its own voltage: distortion rises there and falls again as the level goes on rising; if left out, it is "
        "lost at zero",
        examples=["60 mV"],
    )
    crossover_under_drive: Annotated[Ratio, bounded("1", at_least=0, below=0.5)] = Field(
        default=0.0,
        description="part of the tone's amplitude by which `crossover` grows, as where the bias gives way under drive",
    )
    switch_over: SwitchOver | None = Field(default=None, description="a bump of the output around one voltage")
    compressor: CompressorSimulation | None = Field(
        default=None, description="a limiter with attack and release; if left out, there is none"
    )
    input_ohm: PositiveOhms | None = Field(
        default=None,
        description="resistance of each input, which loads the generator's 50 ohm; if left out, it loads nothing",
    )
    output_inductance_h: PositiveHenries | None = Field(
        default=None, description="inductance of each output, in series with its resistance"
    )
    dc_wander_v: dict[ChannelName, NotNegativeVolts] = Field(
        default_factory=dict,
        description="by how much the dc of each output wanders around what `offset` states, RMS, by channel, within "
        "some seconds to a minute and a half; protection and heat do not count it",
        examples=[{"A": "0.2 mV", "B": "0.2 mV"}],
    )
    supply_leaks: Annotated[Ratio, bounded("1", at_least=0, below=1)] = Field(
        default=0.001, description="part of a tone on the supply that reaches every output, such as `-60 dB`"
    )
    thump: Thump | None = Field(default=None, description="a pulse at the outputs when it unmutes or loses its supply")
    input_capacitor: InputCapacitor | None = Field(
        default=None,
        description="a capacitor across the supply terminals: with the resistance of the leads it smooths the draw; it "
        "is charged when the supply comes on; if left out, there is none",
    )
    pumps: YesNo = Field(
        default=False,
        description="class D, grounded outputs: while one rail drives the load, an output returns energy to the other "
        "rail, whose voltage rises where the tone is low and the reservoir small; if left out, both rails share the "
        "load evenly",
    )

    def bridged(self) -> AmplifierImperfections:
        """Those of two channels bridged: twice the voltage. What is told of one channel is left out, and so are the
        thump, which is alike in both halves, and pumping: what one half returns to a rail, the other takes.
        """
        twice = ("slew_v_per_s", "output_inductance_h", "class_a_v")
        doubled = {key: 2.0 * value for key in twice if (value := getattr(self, key)) is not None}
        bend = None if self.bend is None else self.bend.model_copy(update={"at_v": 2.0 * self.bend.at_v})
        parts = {"switch_over": _times_two(self.switch_over), "compressor": _times_two(self.compressor)}
        left_out: dict[str, Any] = {"inverted": (), "lag_hz": {}, "dc_wander_v": {}, "thump": None, "pumps": False}
        return self.model_copy(update={**doubled, "bend": bend, **parts, **left_out})

    def channels(self) -> Iterator[tuple[tuple[str | int, ...], str]]:
        """Every channel that is named, and where."""
        for index, channel in enumerate(self.inverted):
            yield ("inverted", index), channel
        for channel in self.lag_hz:
            yield ("lag", channel), channel
        for channel in self.dc_wander_v:
            yield ("dc_wander", channel), channel

    def problems(self) -> Iterator[PathProblem]:
        if self.bend is not None and self.bend.second == self.bend.third == 0.0:
            yield PathProblem(("bend",), "give 'second' or 'third', or leave it out")


def _times_two(part: SwitchOver | CompressorSimulation | None) -> SwitchOver | CompressorSimulation | None:
    """The same at twice every voltage."""
    if part is None:
        return None
    volts = {name: 2.0 * getattr(part, name) for name in type(part).model_fields if name.endswith("_v")}
    return part.model_copy(update=volts)
