"""Steps that measure what an amplifier does to a signal, beside power: response, noise, damping and the rest."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, ClassVar, Literal

from pydantic import Field

from benchctl.documents.model.criteria import (
    Expectations,
    expecting,
)
from benchctl.documents.model.fields import (
    AudioHertz,
    Gain,
    PointName,
    PositiveOhms,
    PositiveSeconds,
    PositiveVolts,
    Seconds,
    Tolerance,
    Whole,
    bounded,
    counted,
)
from benchctl.documents.model.level import LEVEL, DriveLevel, Level
from benchctl.documents.model.model_base import PathProblem, doubled
from benchctl.documents.sequence_file.step_base import (
    Driven,
    Named,
    OnTimeout,
    State,
)

FrequenciesAnOctave = Annotated[Whole, counted(at_least=1, at_most=48, example=3)]

IDLE_FIGURES = (
    "idle_current",
    "idle_power",
    "supply_voltage",
    "supply_output_voltage",
    "dc_offset",
    "heatsink_temperature",
    "ambient_temperature",
)
RESPONSE_FIGURES = ("gain", "phase", "channel_balance", "lower_band_edge", "upper_band_edge")
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
DAMPING_FIGURES = ("output_impedance", "damping_factor")
NOISE_FIGURES = (
    "output_noise",
    "output_noise_a_weighted",
    "noise_line",
    "signal_to_noise_1w",
    "signal_to_noise_rated",
)
DISTORTION_FIGURES = ("thd_n", "thd", "output_rms")
POINT_FIGURES = ("dc_voltage", "ac_voltage", "resistance", "temperature")


class MeasureIdle(Named):
    """Measure idle current, supply voltage and the dc at the outputs, without a signal."""

    ROLES: ClassVar[tuple[str, ...]] = ("generator", "oscilloscope", "supply")
    STATE: ClassVar[tuple[State, ...]] = ("power",)

    kind: Literal["measure_idle"] = "measure_idle"
    for_s: PositiveSeconds = Field(default=10.0, description="how long the readings are averaged")
    expect: Annotated[Expectations, *expecting(*IDLE_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `idle_current: below 2.5 A`"
    )


class SteppedSine(Named, Driven):
    """A sine stepped over frequencies, a record at each."""

    from_hz: AudioHertz = Field(default=20.0, description="the lowest frequency")
    to_hz: AudioHertz = Field(default=20e3, description="the highest frequency")
    per_octave: FrequenciesAnOctave = Field(
        default=3,
        description="frequencies per octave; with 1 or 3 they are the preferred frequencies of ISO 266, such "
        "as 31.5 Hz",
    )
    level: DriveLevel | None = Field(
        default=None,
        description=f"{LEVEL}; if left out, 10 dB below rated power into the load",
    )

    def problems(self) -> Iterator[PathProblem]:
        if self.to_hz <= self.from_hz:
            yield PathProblem(("to",), "the highest frequency must lie above the lowest")


class Response(SteppedSine):
    """Gains that are held against that of a pass band."""

    reference_hz: AudioHertz | None = Field(
        default=None,
        description="frequency whose gain counts as that of the pass band; if left out, where the gain is highest",
    )

    def problems(self) -> Iterator[PathProblem]:
        yield from super().problems()
        if self.reference_hz is not None and not self.from_hz <= self.reference_hz <= self.to_hz:
            yield PathProblem(("reference",), "the reference must lie within the frequencies that are measured")


class MeasureCrosstalk(SteppedSine):
    """Measure what of a driven channel appears at the others, whose inputs are terminated. The bench file's `inputs`
    says how one channel is driven alone."""

    kind: Literal["measure_crosstalk"] = "measure_crosstalk"
    per_octave: FrequenciesAnOctave = Field(
        default=1,
        description="frequencies per octave; with 1 or 3 they are the preferred frequencies of ISO 266, such "
        "as 31.5 Hz",
    )
    expect: Annotated[Expectations, *expecting("crosstalk")] = Field(
        default_factory=dict, description="acceptance criteria, such as `crosstalk: below -60 dB`"
    )


class MeasureFilter(Response):
    """Measure corner, slope and order of an output's low-pass or high-pass filter, with a stepped sine that reaches
    far beyond the corner."""

    kind: Literal["measure_filter"] = "measure_filter"
    expect: Annotated[Expectations, *expecting(*FILTER_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `low_pass_slope: above 22 dB/octave`"
    )


class MeasureResponse(Response):
    """Measure gain and phase against frequency with a stepped sine, and where the gain is 3 dB down."""

    kind: Literal["measure_response"] = "measure_response"
    reference_hz: AudioHertz | None = Field(
        default=1000.0,
        description="frequency whose gain counts as that of the pass band; for a filtered output, one inside its band",
    )
    expect: Annotated[Expectations, *expecting(*RESPONSE_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `upper_band_edge: above 20 kHz`"
    )


class MeasureDamping(Named, Driven):
    """Measure output impedance and damping factor, from the voltage into two loads at the same drive."""

    STATE: ClassVar[tuple[State, ...]] = ("power", "frequency")

    kind: Literal["measure_damping"] = "measure_damping"
    loads_ohm: tuple[PositiveOhms, ...] = Field(
        min_length=1,
        description="nominal loads; of more than two, the highest and the lowest are used; a single one is "
        "compared with no load",
    )
    level: DriveLevel | None = Field(
        default=None,
        description=f"{LEVEL}; if left out, 10 dB below rated power into the lowest load",
    )
    from_hz: AudioHertz | None = Field(
        default=None,
        description="the lowest of several frequencies; with it, the size of a complex impedance is measured at each, "
        "an inductance included. If left out, only the frequency that is set is measured",
    )
    to_hz: AudioHertz | None = Field(default=None, description="the highest of them")
    per_octave: FrequenciesAnOctave = Field(
        default=3, description="how many of them an octave, at the exact frequencies of IEC 61260 about 1 kHz"
    )
    expect: Annotated[Expectations, *expecting(*DAMPING_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `damping_factor: above 100`"
    )

    def problems(self) -> Iterator[PathProblem]:
        yield from doubled(self.loads_ohm, "loads")
        if (self.from_hz is None) != (self.to_hz is None):
            missing = "from" if self.from_hz is None else "to"
            yield PathProblem((), f"several frequencies have a lowest and a highest one; '{missing}' is missing")
        elif self.from_hz is not None and self.to_hz is not None and self.to_hz <= self.from_hz:
            yield PathProblem(("to",), "the highest frequency must lie above the lowest")


class MeasureDc(Named):
    """Measure the dc at each output, without a signal."""

    ROLES: ClassVar[tuple[str, ...]] = ("generator", "oscilloscope")
    STATE: ClassVar[tuple[State, ...]] = ("power",)

    kind: Literal["measure_dc"] = "measure_dc"
    for_s: Annotated[PositiveSeconds, bounded("s", at_most=60)] = Field(
        default=1.0, description="how long it is averaged; best a whole number of mains periods"
    )
    expect: Annotated[Expectations, *expecting("dc_offset")] = Field(
        default_factory=dict, description="acceptance criteria, such as `dc_offset: within 50 mV`"
    )


class MeasureNoise(Named, Driven):
    """Measure the noise at the outputs without a signal, A-weighted and not, how far it lies below a power, and its
    strongest lines. The oscilloscope's own noise, recorded before the amplifier is switched on, is subtracted."""

    kind: Literal["measure_noise"] = "measure_noise"
    for_s: PositiveSeconds = Field(
        default=2.0, description="how long the record is, if the oscilloscope's memory allows it"
    )
    expect: Annotated[Expectations, *expecting(*NOISE_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `signal_to_noise_1w: above 75 dB`"
    )


class MeasureDistortion(SteppedSine):
    """Measure distortion against frequency at a low level, 1 W where nothing else is said. A distortion that the
    oscilloscope or the generator may have made is given as a bound."""

    kind: Literal["measure_distortion"] = "measure_distortion"
    to_hz: AudioHertz = Field(default=10e3, description="the highest frequency")
    level: DriveLevel | None = Field(default=None, description=f"{LEVEL}; if left out, 1 W into each load")
    expect: Annotated[Expectations, *expecting(*DISTORTION_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `thd_n: below 0.5 %`"
    )


class MeasureLinearity(Named, Driven):
    """Measure the gain at levels from far below rated power up to it, and how far it differs from the gain at a
    reference level."""

    STATE: ClassVar[tuple[State, ...]] = ("power", "load", "frequency")

    kind: Literal["measure_linearity"] = "measure_linearity"
    lowest: DriveLevel = Field(
        default=Level(1e-6, "rated"),
        json_schema_extra={"default": "-60 dB rated"},
        description=f"the lowest level; {LEVEL}",
    )
    highest: DriveLevel = Field(
        default=Level(1.0, "rated"),
        json_schema_extra={"default": "100 % rated"},
        description="the highest level, written in the same ways",
    )
    levels: Annotated[Whole, counted(at_least=2, at_most=100, example=7)] = Field(
        default=7, description="how many levels, with equal distances in dB"
    )
    reference: DriveLevel = Field(
        default=Level(0.1, "rated"),
        json_schema_extra={"default": "-10 dB rated"},
        description="the level whose gain the others are compared with, written so too",
    )
    expect: Annotated[Expectations, *expecting("gain_linearity")] = Field(
        default_factory=dict, description="acceptance criteria, such as `gain_linearity: within 0.5 dB`"
    )


class SetGain(Named, Driven):
    """Show each channel's gain, live, while a person turns its control to the wanted one; unattended runs refuse it."""

    STATE: ClassVar[tuple[State, ...]] = ("power", "load", "frequency")

    kind: Literal["set_gain"] = "set_gain"
    gain: Gain | None = Field(
        default=None,
        description="gain that each channel is to have; if neither this nor `input_sensitivity` is given, the"
        " channels are made alike",
    )
    input_sensitivity_v: PositiveVolts | None = Field(
        default=None, description="input level, RMS, that is to drive each channel to rated power"
    )
    within: Tolerance = Field(default=0.02, description="how near to the wanted gain is near enough, such as `2 %`")
    level: DriveLevel | None = Field(
        default=None,
        description=f"{LEVEL}; if left out, 20 dB below rated power into the load",
    )
    timeout_s: PositiveSeconds = Field(default=600.0, description="the longest wait for a person to turn the control")
    on_timeout: OnTimeout = Field(default="go on", description="what to do if that time is not enough")
    expect: Annotated[Expectations, *expecting(*GAIN_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `input_sensitivity: below 1 V`"
    )

    def problems(self) -> Iterator[PathProblem]:
        if self.gain is not None and self.input_sensitivity_v is not None:
            yield PathProblem(("input_sensitivity",), "gain and input_sensitivity say the same; give one of them")


class MeasurePoints(Named):
    """Measure with the multimeter at points that the bench file names, such as the bias and the rails, without a
    signal. Through its scanner, or a person puts its leads to each point when asked."""

    ROLES: ClassVar[tuple[str, ...]] = ("multimeter",)

    kind: Literal["measure_points"] = "measure_points"
    points: tuple[PointName, ...] = Field(
        default=(),
        description="which points, such as `[bias A, bias B]`; if left out, all that the bench file names, "
        "but no resistance while the amplifier is on",
    )
    readings: Annotated[Whole, counted(at_least=1, at_most=1000, example=5)] = Field(
        default=5, description="how many readings are averaged at each point"
    )
    settle_s: Annotated[Seconds, bounded("s", at_least=0, at_most=600)] = Field(
        default=1.0, description="how long to wait at each point before the first of them"
    )
    expect: Annotated[Expectations, *expecting(*POINT_FIGURES)] = Field(
        default_factory=dict,
        description="acceptance criteria, such as `dc_voltage: below 30 mV`; each holds at every point of this step",
    )

    def problems(self) -> Iterator[PathProblem]:
        yield from doubled(self.points, "points")


MeasuringStep = (
    MeasureIdle
    | MeasureDc
    | MeasureNoise
    | MeasureResponse
    | MeasureFilter
    | MeasureCrosstalk
    | MeasureDamping
    | MeasureDistortion
    | MeasureLinearity
    | MeasurePoints
    | SetGain
)
