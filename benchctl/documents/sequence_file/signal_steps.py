"""Steps that measure with more than one steady tone, or what becomes of a signal on its way: polarity, square waves,
intermodulation, input impedance."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, ClassVar, Literal

from pydantic import Field

from benchctl.documents.model.criteria import Expectations, expecting
from benchctl.documents.model.fields import AudioHertz, Hertz, PositiveFarads, PositiveOhms, Tolerance, bounded
from benchctl.documents.model.level import LEVEL, DriveLevel
from benchctl.documents.model.model_base import PathProblem, doubled
from benchctl.documents.sequence_file.step_base import Driven, Named, State

SquareHertz = Annotated[Hertz, bounded("Hz", at_least=10, at_most=20e3)]

POLARITY_FIGURES = ("polarity", "channel_phase")
SQUARE_FIGURES = (
    "rise_time",
    "slew_rate",
    "overshoot",
    "tilt",
    "overshoot_with_capacitor",
    "ringing_frequency",
)
INTERMODULATION_FIGURES = (
    "modulation_distortion_2",
    "modulation_distortion_3",
    "modulation_distortion_rss",
    "difference_distortion_2",
    "difference_distortion_3",
)


class MeasurePolarity(Named, Driven):
    """Measure whether an output is inverted, against the generator and against the first output, and the phase between
    outputs."""

    kind: Literal["measure_polarity"] = "measure_polarity"
    frequencies_hz: tuple[AudioHertz, ...] = Field(
        default=(100.0, 1000.0, 10_000.0),
        json_schema_extra={"default": ["100 Hz", "1 kHz", "10 kHz"]},
        min_length=1,
        description="at which frequencies; polarity against the generator is told at the one nearest to 1 kHz. For a "
        "filtered output, give some inside its band",
    )
    level: DriveLevel | None = Field(
        default=None,
        description=f"{LEVEL}; if left out, 20 dB below rated power into the load",
    )
    expect: Annotated[Expectations, *expecting(*POLARITY_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `polarity: above 0`"
    )

    def problems(self) -> Iterator[PathProblem]:
        yield from doubled(self.frequencies_hz, "frequencies")


class MeasureSquare(Named, Driven):
    """Measure rise time, slew rate, overshoot and tilt under a square wave, from raw records; the generator must have
    a square wave. Each frequency is measured at the level and 20 dB below it, which tells bandwidth from slew rate."""

    kind: Literal["measure_square"] = "measure_square"
    frequencies_hz: tuple[SquareHertz, ...] = Field(
        default=(1000.0, 10_000.0),
        json_schema_extra={"default": ["1 kHz", "10 kHz"]},
        min_length=1,
        description="at which frequencies",
    )
    level: DriveLevel | None = Field(
        default=None,
        description=f"{LEVEL}: that of the sine with the same peak, of which a square wave has twice the power; if "
        "left out, 10 dB below rated power into the load",
    )
    capacitor_f: PositiveFarads | None = Field(
        default=None,
        description="a capacitor that a person connects beside each load when asked, such as `100 nF`: how far the "
        "output rings then; if left out, none",
    )
    expect: Annotated[Expectations, *expecting(*SQUARE_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `overshoot: below 10 %`"
    )

    def problems(self) -> Iterator[PathProblem]:
        yield from doubled(self.frequencies_hz, "frequencies")


class MeasureIntermodulation(Named, Driven):
    """Measure what two tones make of each other; the generator must have two tones, or tables of samples. The peak of
    both together is that of the sine at the same level."""

    kind: Literal["measure_intermodulation"] = "measure_intermodulation"
    method: Literal["modulation", "difference"] = Field(
        default="modulation",
        description="`modulation`: a low tone and a high one of a quarter of its voltage (SMPTE); `difference`: two "
        "equal tones close to each other (CCIF)",
    )
    tones_hz: tuple[AudioHertz, ...] = Field(
        default=(),
        description="the lower and the higher tone; if left out, 60 Hz and 7 kHz for `modulation`, and 19 kHz and "
        "20 kHz for `difference`",
        examples=[["60 Hz", "7 kHz"]],
    )
    level: DriveLevel | None = Field(
        default=None,
        description=f"{LEVEL}: that of the sine with the same peak; if left out, 10 dB below rated power into the load",
    )
    expect: Annotated[Expectations, *expecting(*INTERMODULATION_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `modulation_distortion_rss: below 0.5 %`"
    )

    @property
    def pair_hz(self) -> tuple[float, float]:
        """The lower and the higher tone."""
        if self.tones_hz:
            return self.tones_hz[0], self.tones_hz[1]
        return (60.0, 7000.0) if self.method == "modulation" else (19_000.0, 20_000.0)

    def problems(self) -> Iterator[PathProblem]:
        if not self.tones_hz:
            return
        if len(self.tones_hz) != 2 or self.tones_hz[0] >= self.tones_hz[1]:
            yield PathProblem(("tones",), "give two tones, the lower one first")
        elif self.method == "modulation" and self.tones_hz[1] < 4.0 * self.tones_hz[0]:
            yield PathProblem(("tones",), "for `modulation` the higher tone is at least four times the lower one")
        elif self.method == "difference" and self.tones_hz[1] >= 2.0 * self.tones_hz[0]:
            yield PathProblem(("tones",), "for `difference` the higher tone is less than twice the lower one")


class MeasureInputImpedance(Named, Driven):
    """Measure the input impedance of the driven channels, from how far a known resistor in series with each input
    lowers the output. A person puts it in and takes it out when asked."""

    STATE: ClassVar[tuple[State, ...]] = ("power", "load", "frequency")

    kind: Literal["measure_input_impedance"] = "measure_input_impedance"
    resistor_ohm: PositiveOhms = Field(
        default=10_000.0, description="the resistor, best about as large as the impedance that is expected"
    )
    resistor_accuracy: Annotated[Tolerance, bounded("1", above=0)] = Field(
        default=0.01, description="limit of error of the resistor"
    )
    level: DriveLevel | None = Field(
        default=None,
        description=f"{LEVEL}; if left out, 20 dB below rated power into the load",
    )
    expect: Annotated[Expectations, *expecting("input_impedance")] = Field(
        default_factory=dict, description="acceptance criteria, such as `input_impedance: above 8 kohm`"
    )


SignalStep = MeasurePolarity | MeasureSquare | MeasureIntermodulation | MeasureInputImpedance
