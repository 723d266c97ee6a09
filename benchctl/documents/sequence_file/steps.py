"""The steps of a sequence, a class each; those that steer it, and all of them together.

In a document a step is a mapping of one key, its kind, to its settings (`- hold: {for: 10 s}`); a step without
settings is the bare word (`- power_off`). A sweep has its own `steps` beside its kind.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from typing import Annotated, Any, ClassVar, Literal, get_args

from pydantic import BeforeValidator, Field, ModelWrapValidatorHandler, PrivateAttr, ValidationInfo, model_validator

from benchctl.documents.model.criteria import FIGURE_UNITS, Expectations, SomeChannels, expecting
from benchctl.documents.model.fields import (
    AmplifierClass,
    AudioHertz,
    Line,
    Outputs,
    PositiveOhms,
    PositiveVolts,
    Whole,
    counted,
)
from benchctl.documents.model.level import DriveLevel, Level
from benchctl.documents.model.model_base import Part, PathProblem, Reading, doubled
from benchctl.documents.sequence_file.bench_steps import BenchStep, RampSupply
from benchctl.documents.sequence_file.measuring_steps import MeasuringStep
from benchctl.documents.sequence_file.power_steps import PowerStep
from benchctl.documents.sequence_file.signal_steps import SignalStep
from benchctl.documents.sequence_file.step_base import (
    StepBase,
)
from benchctl.documents.sequence_file.step_form import unfold
from benchctl.documents.sequence_file.supply_steps import SupplyStep
from benchctl.documents.text.tree import Table


class Require(StepBase):
    """End the run unless figures that were measured before keep their criteria."""

    kind: Literal["require"] = "require"
    criteria: Annotated[Expectations, *expecting(*FIGURE_UNITS)] = Field(
        description="figures, each with its criterion, such as `idle_current: below 3 A`"
    )

    def problems(self) -> Iterator[PathProblem]:
        if not self.criteria:
            yield PathProblem(
                (), "nothing is required; give a figure and its criterion, such as 'idle_current: below 3 A'"
            )


class Note(StepBase):
    """Write a line into the journal and onto the terminal."""

    kind: Literal["note"] = "note"
    text: Line = Field(description="what to write", examples=["the lid is off from here on"])


class Prompt(StepBase):
    """Ask a person to do something and to type in what should be on record; an unattended run refuses it."""

    kind: Literal["prompt"] = "prompt"
    request: Line = Field(description="what is to be done", examples=["Turn both input gains to maximum"])
    record: tuple[Line, ...] = Field(
        default=(),
        description="what the person is asked to type in, such as `input gain` or `bass boost`; it is kept "
        "with the run",
    )

    def problems(self) -> Iterator[PathProblem]:
        yield from doubled(self.record, "record")


class Repeat(StepBase):
    """Do steps several times."""

    kind: Literal["repeat"] = "repeat"
    times: Annotated[Whole, counted(at_least=2, at_most=1000, example=10)] = Field(description="how many times")
    steps: tuple[Step, ...] = Field(min_length=1, description="what is done each time")


class AmplifierTraits(Part):
    """What an amplifier file must say for steps to be performed."""

    amplifier_class: AmplifierClass | None = Field(default=None, alias="class", description="class of its output stage")
    outputs: Outputs | None = Field(default=None, description="whether its outputs are grounded or floating")
    channels: SomeChannels | None = Field(default=None, description="how many channels it has, such as `above 1`")

    def problems(self) -> Iterator[PathProblem]:
        if self.amplifier_class is None and self.outputs is None and self.channels is None:
            yield PathProblem((), "nothing is asked of the amplifier; give class, outputs or channels")


class BenchTraits(Part):
    """What a bench file must say for steps to be performed."""

    inputs: Literal["relay", "generator", "hand", "either"] | None = Field(
        default=None,
        description="how each input of the amplifier can be driven alone; `either` means in any of these ways",
    )
    generator: Literal["square waves", "two tones"] | None = Field(
        default=None, description="what the generator must be able to play, by its driver file"
    )

    terminals: Literal["measured"] | None = Field(
        default=None, description="`measured`: something measures the supply's voltage at the amplifier's terminals"
    )
    load_ohm: PositiveOhms | None = Field(
        default=None, description="nominal resistance of a load that there must be for each channel of the amplifier"
    )
    supply_v: PositiveVolts | None = Field(
        default=None, description="voltage that the main supply output must be able to give"
    )

    def problems(self) -> Iterator[PathProblem]:
        if all(getattr(self, name) is None for name in type(self).model_fields):
            yield PathProblem((), "nothing is asked of the bench; give inputs, generator, terminals, load or supply")


class When(StepBase):
    """Do steps only if earlier figures keep their criteria and the amplifier and bench files say so."""

    kind: Literal["when"] = "when"
    criteria: Annotated[Expectations, *expecting(*FIGURE_UNITS)] = Field(
        default_factory=dict, description="figures, each with its criterion, such as `idle_current: below 3 A`"
    )
    amplifier: AmplifierTraits | None = Field(default=None, description="what the amplifier file must say")
    bench: BenchTraits | None = Field(default=None, description="what the bench file must say")
    steps: tuple[Step, ...] = Field(min_length=1, description="what is done then")

    def problems(self) -> Iterator[PathProblem]:
        if not self.criteria and self.amplifier is None and self.bench is None:
            yield PathProblem((), "no condition; give a figure and its criterion, such as 'idle_current: below 3 A'")


class Sweep(StepBase):
    """Do steps at each combination of values; of several lists, the one written first changes slowest."""

    kind: Literal["sweep"] = "sweep"
    load_ohm: tuple[PositiveOhms, ...] | None = Field(
        default=None, min_length=1, description="nominal load resistances"
    )
    frequency_hz: tuple[AudioHertz, ...] | None = Field(
        default=None, min_length=1, description="frequencies of the generator"
    )
    level: tuple[DriveLevel, ...] | None = Field(
        default=None, min_length=1, description="levels, such as `500 mV`, `1 W`, `50 % rated` or `-6 dB clean`"
    )
    supply_v: tuple[PositiveVolts, ...] | None = Field(
        default=None, min_length=1, description="voltages of the main supply output"
    )
    steps: tuple[Step, ...] = Field(min_length=1, description="what is done at each point")

    AXES: ClassVar[tuple[str, ...]] = ("load", "frequency", "level", "supply")
    _order: tuple[str, ...] = PrivateAttr(default=AXES)

    @model_validator(mode="wrap")
    @classmethod
    def _keep_order(cls, data: Any, handler: ModelWrapValidatorHandler[Sweep]) -> Sweep:
        sweep = handler(data)
        if isinstance(data, Table):
            sweep._order = tuple(str(key) for key in data if key in cls.AXES)
        return sweep

    @property
    def axes(self) -> Mapping[str, tuple[float | Level, ...]]:
        """Axis name (load, frequency, level, supply) -> its values in base units, slowest axis first."""
        values = {
            "load": self.load_ohm,
            "frequency": self.frequency_hz,
            "level": self.level,
            "supply": self.supply_v,
        }
        return {name: given for name in self._order if (given := values[name]) is not None}

    def points(self) -> Iterator[Mapping[str, float | Level]]:
        """Every combination of the axes' values, in the order they are visited."""
        for values in itertools.product(*self.axes.values()):
            yield dict(zip(self.axes, values, strict=True))

    def problems(self) -> Iterator[PathProblem]:
        if not self.axes:
            yield PathProblem(
                (), "a sweep over nothing; give load, frequency, level or supply, each with a list of values"
            )
        for name, values in self.axes.items():
            yield from doubled(values, name)


_Steering = Require | Note | Prompt | Repeat | When | Sweep
# Those that leave figures; a record that can give none is told, and the run goes on.
MEASURING: tuple[type[StepBase], ...] = (
    *get_args(PowerStep),
    *get_args(MeasuringStep),
    *get_args(SignalStep),
    *get_args(SupplyStep),
    RampSupply,
)
STEP_CLASSES: tuple[type[StepBase], ...] = (
    *get_args(BenchStep),
    *get_args(PowerStep),
    *get_args(MeasuringStep),
    *get_args(SignalStep),
    *get_args(SupplyStep),
    *get_args(_Steering),
)
KINDS: tuple[str, ...] = tuple(step.model_fields["kind"].default for step in STEP_CLASSES)


def _read_step(value: Any, info: ValidationInfo) -> Any:
    """A step as a document writes it; one that was built in Python is in the model's form already."""
    if not isinstance(info.context, Reading):
        return value
    return unfold(value, KINDS, info.context)


Step = Annotated[
    Annotated[
        BenchStep | PowerStep | MeasuringStep | SignalStep | SupplyStep | _Steering,
        Field(discriminator="kind"),
    ],
    BeforeValidator(_read_step),
]
