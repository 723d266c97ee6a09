"""Steps that measure what an amplifier does to a signal, beside power: response, noise, damping and the rest."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, ClassVar, Literal

from pydantic import Field

from benchctl.documents.criteria import (
    BelowAmperes,
    BelowCelsius,
    Criterion,
    Expectations,
    WithinAmperes,
    WithinKelvins,
    WithinVolts,
    expecting,
)
from benchctl.documents.fields import (
    Gain,
    PositiveAmperes,
    PositiveHertz,
    PositiveOhms,
    PositiveSeconds,
    PositiveVolts,
    Ratio,
    Tolerance,
    Whole,
    bounded,
    counted,
)
from benchctl.documents.part import Misfit
from benchctl.documents.step_base import (
    ON_PROTECTION,
    CycleCount,
    OnProtection,
    OnTimeout,
    RestLevel,
    State,
    StepBase,
    doubled,
)

FrequenciesAnOctave = Annotated[Whole, counted(at_least=1, at_most=48)]

# That of a sine is 3 dB, and between bursts of it there must be a rest.
CrestFactor = Annotated[Ratio, bounded("1", above=math.sqrt(2.0), at_most=100)]

RESPONSE_FIGURES = ("gain", "phase", "channel_balance", "lower_band_edge", "upper_band_edge")
RAMP_FIGURES = ("ramp_voltage", "ramp_current", "idle_current", "idle_current_rise", "dc_offset")
FILTER_FIGURES = (
    "gain",
    "low_pass_corner",
    "low_pass_slope",
    "low_pass_order",
    "high_pass_corner",
    "high_pass_slope",
    "high_pass_order",
)
GAIN_FIGURES = ("gain", "gain_error", "input_sensitivity", "channel_balance")
SOAK_FIGURES = (
    "soak_time",
    "average_power",
    "power_drift",
    "crest_factor",
    "efficiency",
    "supply_current",
    "supply_current_drift",
    "supply_voltage",
    "fuse_load",
    "heatsink_temperature",
    "final_heatsink_temperature",
    "heatsink_time_constant",
)
DAMPING_FIGURES = ("output_impedance", "damping_factor")
NOISE_FIGURES = ("output_noise", "output_noise_a_weighted", "signal_to_noise_1w", "signal_to_noise_rated")


class _Driven(StepBase):
    """A step that drives the amplifier into its load and looks at its outputs."""

    ROLES: ClassVar[tuple[str, ...]] = ("generator", "oscilloscope", "load", "supply")
    STATE: ClassVar[tuple[State, ...]] = ("power", "load")


class SteppedSine(_Driven):
    """A sine stepped over frequencies, a record at each."""

    from_hz: PositiveHertz = Field(default=20.0, description="the lowest frequency")
    to_hz: PositiveHertz = Field(default=20e3, description="the highest frequency")
    per_octave: FrequenciesAnOctave = Field(
        default=3, description="frequencies an octave; 1 and 3 are the preferred ones of ISO 266, 31.5 Hz and so on"
    )
    level_v: PositiveVolts | None = Field(
        default=None, description="of the generator, RMS; 10 dB below rated power into the load, unless given"
    )

    def misfits(self) -> Iterator[Misfit]:
        if self.to_hz <= self.from_hz:
            yield Misfit(("to",), "the highest frequency must lie above the lowest")


class Response(SteppedSine):
    """Gains that are held against that of a pass band."""

    reference_hz: PositiveHertz | None = Field(
        default=None, description="where gain counts as that of the pass band; where it is highest, unless given"
    )

    def misfits(self) -> Iterator[Misfit]:
        yield from super().misfits()
        if self.reference_hz is not None and not self.from_hz <= self.reference_hz <= self.to_hz:
            yield Misfit(("reference",), "the reference must lie within the frequencies that are measured")


class MeasureCrosstalk(SteppedSine):
    """What a driven channel makes at the others, whose inputs are terminated; the bench file's `inputs` says how one is
    driven alone."""

    kind: Literal["measure_crosstalk"] = "measure_crosstalk"
    per_octave: FrequenciesAnOctave = Field(
        default=1, description="frequencies an octave; 1 and 3 are the preferred ones of ISO 266, 31.5 Hz and so on"
    )
    expect: Annotated[Expectations, *expecting("crosstalk")] = Field(
        default_factory=dict, description="acceptance criteria, such as `crosstalk: below -60 dB`"
    )


class MeasureFilter(Response):
    """Corner, slope and order of an output's low-pass or high-pass, by a stepped sine that reaches far beyond it."""

    kind: Literal["measure_filter"] = "measure_filter"
    expect: Annotated[Expectations, *expecting(*FILTER_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `low_pass_slope: above 22 dB/octave`"
    )


class MeasureResponse(Response):
    """Gain and phase against frequency by a stepped sine, and where gain is 3 dB down."""

    kind: Literal["measure_response"] = "measure_response"
    reference_hz: PositiveHertz | None = Field(
        default=1000.0, description="where gain counts as that of the pass band; for a filtered output, inside its band"
    )
    expect: Annotated[Expectations, *expecting(*RESPONSE_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `upper_band_edge: above 20 kHz`"
    )


class MeasureDamping(_Driven):
    """Output impedance and damping factor, from the voltage into two loads at one unchanged drive."""

    STATE: ClassVar[tuple[State, ...]] = ("power", "frequency")

    kind: Literal["measure_damping"] = "measure_damping"
    loads_ohm: tuple[PositiveOhms, ...] = Field(
        min_length=1,
        description="nominal loads; of more than two the highest and the lowest are used, and one alone is held"
        " against no load at all",
    )
    level_v: PositiveVolts | None = Field(
        default=None, description="of the generator, RMS; 10 dB below rated power into the lowest load, unless given"
    )
    expect: Annotated[Expectations, *expecting(*DAMPING_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `damping_factor: above 100`"
    )

    def misfits(self) -> Iterator[Misfit]:
        yield from doubled(self.loads_ohm, "loads")


class MeasureDc(StepBase):
    """The dc at each output of the undriven amplifier."""

    ROLES: ClassVar[tuple[str, ...]] = ("generator", "oscilloscope")
    STATE: ClassVar[tuple[State, ...]] = ("power",)

    kind: Literal["measure_dc"] = "measure_dc"
    for_s: Annotated[PositiveSeconds, bounded("s", at_most=60)] = Field(
        default=1.0, description="how long it is averaged; a whole number of mains periods, best"
    )
    expect: Annotated[Expectations, *expecting("dc_offset")] = Field(
        default_factory=dict, description="acceptance criteria, such as `dc_offset: within 50 mV`"
    )


class MeasureNoise(_Driven):
    """Noise at the outputs with nothing at the input, A-weighted and not, and how far it lies below a power."""

    kind: Literal["measure_noise"] = "measure_noise"
    for_s: PositiveSeconds = Field(default=2.0, description="how long the record is, as far as memory allows")
    expect: Annotated[Expectations, *expecting(*NOISE_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `signal_to_noise_1w: above 75 dB`"
    )


class RampSupply(StepBase):
    """First power-up after a repair: the voltage rises in steps under a low current limit, and each step looks for a
    reason to stop; the run ends at the first."""

    ROLES: ClassVar[tuple[str, ...]] = ("generator", "oscilloscope", "supply")

    kind: Literal["ramp_supply"] = "ramp_supply"
    voltage_v: PositiveVolts = Field(description="of the main supply output, at the end")
    current_limit_a: PositiveAmperes = Field(
        description="of the main supply output; little above the idle current that is expected"
    )
    from_v: PositiveVolts = Field(default=2.0, description="the voltage to begin with")
    step_v: PositiveVolts = Field(default=1.0, description="the most that the voltage rises at a time")
    dwell_s: PositiveSeconds = Field(default=4.0, description="how long each voltage is held and looked at")
    wake_at_v: PositiveVolts | None = Field(
        default=None,
        description="from this voltage on the remote turn-on lead is live; the lowest that the amplifier works at,"
        " unless given",
    )
    start_timeout_s: PositiveSeconds = Field(
        default=30.0, description="how long the amplifier's converter may take to start under the current limit"
    )
    supply_current: BelowAmperes | None = Field(
        default=None, description="what the current must be at each voltage, such as `below 2.5 A`"
    )
    dc_offset: WithinVolts = Field(
        default=Criterion(relation="within", bound=0.1, unit="V"), description="what the dc at each output must be"
    )
    rise: WithinAmperes = Field(
        default=Criterion(relation="within", bound=0.1, unit="A"),
        description="how much the current may rise while the voltage is held",
    )
    expect: Annotated[Expectations, *expecting(*RAMP_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `idle_current: below 2 A`"
    )

    def misfits(self) -> Iterator[Misfit]:
        if self.from_v >= self.voltage_v:
            yield Misfit(("from",), "the ramp must begin below the voltage it leads to")


class SetGain(_Driven):
    """Show each channel's gain, live, while a hand turns its control to what is wanted; unattended runs refuse it."""

    STATE: ClassVar[tuple[State, ...]] = ("power", "load", "frequency")

    kind: Literal["set_gain"] = "set_gain"
    gain: Gain | None = Field(
        default=None, description="that each channel is to have; without this or `input_sensitivity` they become alike"
    )
    input_sensitivity_v: PositiveVolts | None = Field(
        default=None, description="the level, RMS, that is to drive each channel to rated power"
    )
    within: Tolerance = Field(default=0.02, description="how near is near enough, such as `2 %`")
    level_v: PositiveVolts | None = Field(
        default=None, description="of the generator, RMS; 20 dB below rated power into the load, unless given"
    )
    timeout_s: PositiveSeconds = Field(default=600.0, description="the longest wait for the hand")
    on_timeout: OnTimeout = Field(default="go on", description="what becomes of the run if that is not enough")
    expect: Annotated[Expectations, *expecting(*GAIN_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `input_sensitivity: below 1 V`"
    )

    def misfits(self) -> Iterator[Misfit]:
        if self.gain is not None and self.input_sensitivity_v is not None:
            yield Misfit(("input_sensitivity",), "gain and input_sensitivity say the same; give one of them")


class Soak(_Driven):
    """Drive for long, with the heatsink's final temperature foretold; a tone, or bursts like music's."""

    STATE: ClassVar[tuple[State, ...]] = ("power", "load", "frequency")
    ROLES: ClassVar[tuple[str, ...]] = ("generator", "oscilloscope", "load", "supply", "thermometer")

    kind: Literal["soak"] = "soak"
    for_s: PositiveSeconds = Field(description="how long, at the longest")
    until: WithinKelvins | None = Field(
        default=None,
        description="how well the final temperature must be foretold to end early, such as `within 1 K`; unless given,"
        " the whole time is used",
    )
    level_v: PositiveVolts | None = Field(
        default=None, description="of the generator, RMS; the last clean level, unless this or `of_rated` is given"
    )
    of_rated: Annotated[Ratio, bounded("1", above=0, at_most=2)] | None = Field(
        default=None, description="the part of rated power to drive with, such as `12.5 %`, by the nominal gain"
    )
    heatsink: BelowCelsius | None = Field(
        default=None, description="what the heatsink must be; the drive ends early where it is not any more"
    )
    cycles: CycleCount | None = Field(
        default=None, description="length of bursts; a steady tone, unless this or `crest_factor` is given"
    )
    crest_factor_ratio: CrestFactor | None = Field(
        default=None,
        alias="crest_factor",
        description="of bursts as long as it asks for, such as `9 dB`: loud music has 6 to 12 dB",
    )
    every_s: PositiveSeconds = Field(default=0.5, description="from the start of a burst to the start of the next")
    low_level_ratio: RestLevel = Field(
        default=0.1, alias="low_level", description="between the bursts, relative to the burst, such as `-20 dB`"
    )
    on_protection: OnProtection = Field(default="go on", description=ON_PROTECTION)
    expect: Annotated[Expectations, *expecting(*SOAK_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `final_heatsink_temperature: below 80 degC`"
    )

    def misfits(self) -> Iterator[Misfit]:
        if self.level_v is not None and self.of_rated is not None:
            yield Misfit(("of_rated",), "level and of_rated both say how strong to drive; give one of them")
        if self.cycles is not None and self.crest_factor_ratio is not None:
            yield Misfit(("crest_factor",), "cycles and crest_factor both say how long a burst is; give one of them")


MeasuringStep = (
    MeasureCrosstalk
    | MeasureDamping
    | MeasureDc
    | MeasureFilter
    | MeasureNoise
    | MeasureResponse
    | RampSupply
    | SetGain
    | Soak
)
MEASURING_STEP_CLASSES: tuple[type[StepBase], ...] = (
    MeasureCrosstalk,
    MeasureDamping,
    MeasureDc,
    MeasureFilter,
    MeasureNoise,
    MeasureResponse,
    RampSupply,
    SetGain,
    Soak,
)
