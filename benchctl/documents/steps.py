"""The steps of a sequence, a class each.

In a document a step is a mapping of one key, its kind, to its settings (`- hold: {for: 10 s}`); a step without
settings is the bare word (`- power_off`). A sweep has its own `steps` beside its kind.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BeforeValidator, Field, ModelWrapValidatorHandler, PrivateAttr, ValidationInfo, model_validator

from benchctl.documents.criteria import (
    FIGURE_UNITS,
    BelowCelsius,
    Expectations,
    WithinAmperes,
    WithinKelvins,
    expecting,
)
from benchctl.documents.fields import (
    AmplifierClass,
    Distortion,
    Line,
    Outputs,
    PositiveAmperes,
    PositiveHertz,
    PositiveOhms,
    PositiveSeconds,
    PositiveVolts,
    Ratio,
    Whole,
    bounded,
    counted,
)
from benchctl.documents.measuring_steps import MEASURING_STEP_CLASSES, MeasuringStep
from benchctl.documents.part import Misfit, Part, Reading
from benchctl.documents.step_base import (
    ON_PROTECTION,
    CycleCount,
    OnProtection,
    OnTimeout,
    RestLevel,
    StepBase,
    doubled,
)
from benchctl.documents.step_form import unfold
from benchctl.documents.tree import Table


class PowerOn(StepBase):
    """Supply first, then the remote turn-on lead, then wait until the amplifier idles."""

    kind: Literal["power_on"] = "power_on"
    voltage_v: PositiveVolts = Field(description="of the main supply output")
    current_limit_a: PositiveAmperes = Field(description="of the main supply output")
    overvoltage_v: PositiveVolts | None = Field(
        default=None, description="the supply's own over-voltage protection; what the amplifier bears, unless given"
    )
    overcurrent_a: PositiveAmperes | None = Field(
        default=None,
        description="the supply's own over-current protection; one tenth above `current_limit`, unless given",
    )
    timeout_s: PositiveSeconds = Field(default=30.0, description="the longest wait for the amplifier to idle")

    def misfits(self) -> Iterator[Misfit]:
        if self.overvoltage_v is not None and self.overvoltage_v <= self.voltage_v:
            yield Misfit(("overvoltage",), "over-voltage protection must lie above the voltage, or it trips at once")
        if self.overcurrent_a is not None and self.overcurrent_a < self.current_limit_a:
            yield Misfit(("overcurrent",), "over-current protection must not lie below the current limit")


class PowerOff(StepBase):
    """The reverse of power_on: remote turn-on lead first, then the supply."""

    kind: Literal["power_off"] = "power_off"


class Set(StepBase):
    """Change load, frequency, drive level or supply voltage, and leave the rest as it is."""

    kind: Literal["set"] = "set"
    load_ohm: PositiveOhms | None = Field(default=None, description="nominal resistance at every driven channel")
    frequency_hz: PositiveHertz | None = Field(default=None, description="of the generator")
    level_v: PositiveVolts | None = Field(default=None, description="of the generator, RMS")
    supply_v: PositiveVolts | None = Field(default=None, description="of the main supply output, while it is on")

    def misfits(self) -> Iterator[Misfit]:
        if all(value is None for value in (self.load_ohm, self.frequency_hz, self.level_v, self.supply_v)):
            yield Misfit((), "nothing to set; give load, frequency, level or supply")


class Hold(StepBase):
    """Leave everything as it is for a while."""

    kind: Literal["hold"] = "hold"
    for_s: PositiveSeconds = Field(description="how long")


class Cool(StepBase):
    """Wait, undriven, until the heatsink is cool enough."""

    kind: Literal["cool"] = "cool"
    heatsink: BelowCelsius = Field(description="the temperature to wait for, such as `below 45 degC`")
    timeout_s: PositiveSeconds = Field(default=3600.0, description="the longest wait")
    on_timeout: OnTimeout = Field(default="end the run", description="what becomes of the run if that is not enough")


class Settle(StepBase):
    """Wait until a signal changes by less than a bound over a while."""

    kind: Literal["settle"] = "settle"
    heatsink: WithinKelvins | None = Field(default=None, description="the change allowed, such as `within 1 K`")
    supply_current: WithinAmperes | None = Field(default=None, description="the change allowed, such as `within 50 mA`")
    per_s: PositiveSeconds = Field(default=60.0, description="the while over which the change is looked at")
    foretold: WithinKelvins | None = Field(
        default=None,
        description="how well the heatsink's final temperature must be foretold to end the wait early, such as"
        " `within 1 K`; that temperature becomes a figure",
    )
    timeout_s: PositiveSeconds = Field(default=1800.0, description="the longest wait")
    on_timeout: OnTimeout = Field(default="end the run", description="what becomes of the run if that is not enough")

    def misfits(self) -> Iterator[Misfit]:
        if self.heatsink is None and self.supply_current is None and self.foretold is None:
            wanted = "heatsink, supply_current or foretold, such as 'heatsink: within 1 K'"
            yield Misfit((), f"nothing to settle; give {wanted}")
        if self.timeout_s < self.per_s:
            yield Misfit(("timeout",), "the timeout must not be shorter than 'per'")


class _Search(StepBase):
    """What a search over the drive level is told."""

    thd_n: Distortion = Field(default=0.01, description="the distortion bound (THD+N) that is called clean")
    from_v: PositiveVolts = Field(default=0.01, description="where the search starts: a level known to be clean, RMS")
    to_v: PositiveVolts = Field(default=2.0, description="the highest level the search may try, RMS")
    step_ratio: Annotated[Ratio, bounded("1", above=1, at_most=10)] = Field(
        default=1.9952623149688795,
        alias="step",
        description="the largest step beyond the highest level known to be clean",
    )
    on_protection: OnProtection = Field(default="go on", description=ON_PROTECTION)

    def misfits(self) -> Iterator[Misfit]:
        if self.to_v <= self.from_v:
            yield Misfit(("to",), "the highest level must lie above the level the search starts from")


class FindCleanLevel(_Search):
    """Search for the highest steady level that keeps a distortion bound; later steps use it."""

    kind: Literal["find_clean_level"] = "find_clean_level"


IDLE_FIGURES = ("idle_current", "idle_power", "supply_voltage", "dc_offset", "heatsink_temperature")
BURST_FIGURES = (
    "burst_power_clean",
    "burst_power_first",
    "burst_power_highest",
    "burst_power_lowest",
    "burst_power_last",
    "droop",
    "thd_n",
    "output_rms",
    "output_peak",
    "supply_voltage",
    "supply_voltage_lowest",
    "supply_current",
    "supply_current_peak",
    "efficiency",
    "heatsink_temperature",
)
CONTINUOUS_FIGURES = (
    "continuous_power",
    "output_rms",
    "output_peak",
    "thd_n",
    "thd",
    "crest_factor",
    "supply_voltage",
    "supply_voltage_lowest",
    "supply_current",
    "supply_current_peak",
    "efficiency",
    "heatsink_temperature",
)


class MeasureIdle(StepBase):
    """Idle current, supply voltage and dc at the outputs, undriven."""

    kind: Literal["measure_idle"] = "measure_idle"
    for_s: PositiveSeconds = Field(default=10.0, description="how long the readings are averaged")
    expect: Annotated[Expectations, *expecting(*IDLE_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `idle_current: below 2.5 A`"
    )


class MeasureBurst(_Search):
    """Power in short bursts, at the clean and at the full drive, each searched for each burst length."""

    kind: Literal["measure_burst"] = "measure_burst"
    cycles: tuple[CycleCount, ...] = Field(min_length=1, description="lengths of burst, in whole cycles")
    every_s: PositiveSeconds = Field(default=0.5, description="from the start of a burst to the start of the next")
    low_level_ratio: RestLevel = Field(
        default=0.1, alias="low_level", description="between the bursts, relative to the burst, such as `-20 dB`"
    )
    expect: Annotated[Expectations, *expecting(*BURST_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `burst_power_clean: above 140 W`"
    )

    def misfits(self) -> Iterator[Misfit]:
        yield from super().misfits()
        yield from doubled(self.cycles, "cycles")


class MeasureContinuous(StepBase):
    """Power, distortion, supply draw and efficiency at a steady tone."""

    kind: Literal["measure_continuous"] = "measure_continuous"
    for_s: PositiveSeconds = Field(default=5.0, description="how long the tone is held before the record is taken")
    level_v: PositiveVolts | None = Field(
        default=None, description="of the generator, RMS; the last clean level, unless given"
    )
    on_protection: OnProtection = Field(default="go on", description=ON_PROTECTION)
    expect: Annotated[Expectations, *expecting(*CONTINUOUS_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `continuous_power: above 140 W`"
    )


class Require(StepBase):
    """End the run unless figures measured before keep their criteria."""

    kind: Literal["require"] = "require"
    criteria: Annotated[Expectations, *expecting(*FIGURE_UNITS)] = Field(
        description="figures, each with its criterion, such as `idle_current: below 3 A`"
    )

    def misfits(self) -> Iterator[Misfit]:
        if not self.criteria:
            yield Misfit((), "nothing is required; give a figure and its criterion, such as 'idle_current: below 3 A'")


class Note(StepBase):
    """Write a line into the journal and onto the terminal."""

    kind: Literal["note"] = "note"
    text: Line = Field(description="what to write")


class Prompt(StepBase):
    """Ask a person to do something, and for what should be on record; an unattended run refuses it."""

    kind: Literal["prompt"] = "prompt"
    request: Line = Field(description="what is to be done, such as `Turn both input gains to maximum`")
    record: tuple[Line, ...] = Field(
        default=(), description="what is asked for and kept with the run, such as `input gain` or `bass boost`"
    )

    def misfits(self) -> Iterator[Misfit]:
        yield from doubled(self.record, "record")


class Repeat(StepBase):
    """Perform steps several times over."""

    kind: Literal["repeat"] = "repeat"
    times: Annotated[Whole, counted(at_least=2, at_most=1000)] = Field(description="how often")
    steps: tuple[Step, ...] = Field(min_length=1, description="what is done each time")


class AmplifierTraits(Part):
    """What an amplifier file must say for steps to be performed."""

    amplifier_class: AmplifierClass | None = Field(default=None, alias="class", description="of its output stage")
    outputs: Outputs | None = Field(default=None, description="grounded or floating")

    def misfits(self) -> Iterator[Misfit]:
        if self.amplifier_class is None and self.outputs is None:
            yield Misfit((), "nothing is asked of the amplifier; give class or outputs")


class When(StepBase):
    """Perform steps only if earlier figures keep their criteria and the amplifier file says so."""

    kind: Literal["when"] = "when"
    criteria: Annotated[Expectations, *expecting(*FIGURE_UNITS)] = Field(
        default_factory=dict, description="figures, each with its criterion, such as `idle_current: below 3 A`"
    )
    amplifier: AmplifierTraits | None = Field(default=None, description="what the amplifier file must say")
    steps: tuple[Step, ...] = Field(min_length=1, description="what is done then")

    def misfits(self) -> Iterator[Misfit]:
        if not self.criteria and self.amplifier is None:
            yield Misfit((), "no condition; give a figure and its criterion, such as 'idle_current: below 3 A'")


class Sweep(StepBase):
    """Repeat steps over values; of several axes the one written first changes slowest."""

    kind: Literal["sweep"] = "sweep"
    load_ohm: tuple[PositiveOhms, ...] | None = Field(
        default=None, min_length=1, description="nominal load resistances"
    )
    frequency_hz: tuple[PositiveHertz, ...] | None = Field(default=None, min_length=1, description="of the generator")
    level_v: tuple[PositiveVolts, ...] | None = Field(default=None, min_length=1, description="of the generator, RMS")
    supply_v: tuple[PositiveVolts, ...] | None = Field(default=None, min_length=1, description="of the main output")
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
    def axes(self) -> Mapping[str, tuple[float, ...]]:
        """Axis name (load, frequency, level, supply) -> its values in base units, slowest axis first."""
        values = {
            "load": self.load_ohm,
            "frequency": self.frequency_hz,
            "level": self.level_v,
            "supply": self.supply_v,
        }
        return {name: given for name in self._order if (given := values[name]) is not None}

    def points(self) -> Iterator[Mapping[str, float]]:
        """Every combination of the axes' values, in the order they are visited."""
        for values in itertools.product(*self.axes.values()):
            yield dict(zip(self.axes, values, strict=True))

    def misfits(self) -> Iterator[Misfit]:
        if not self.axes:
            yield Misfit((), "a sweep over nothing; give load, frequency, level or supply, each with a list of values")
        for name, values in self.axes.items():
            yield from doubled(values, name)


STEP_CLASSES: tuple[type[StepBase], ...] = (
    PowerOn,
    Set,
    Hold,
    Cool,
    Settle,
    FindCleanLevel,
    MeasureIdle,
    MeasureBurst,
    MeasureContinuous,
    *MEASURING_STEP_CLASSES,
    Require,
    Note,
    Prompt,
    Repeat,
    When,
    Sweep,
    PowerOff,
)
KINDS: tuple[str, ...] = tuple(step.model_fields["kind"].default for step in STEP_CLASSES)


def _read_step(value: Any, info: ValidationInfo) -> Any:
    """A step as a document writes it; one that was built in Python is in the model's form already."""
    if not isinstance(info.context, Reading):
        return value
    return unfold(value, KINDS, info.context)


Step = Annotated[
    Annotated[
        PowerOn
        | Set
        | Hold
        | Cool
        | Settle
        | FindCleanLevel
        | MeasureIdle
        | MeasureBurst
        | MeasureContinuous
        | MeasuringStep
        | Require
        | Note
        | Prompt
        | Repeat
        | When
        | Sweep
        | PowerOff,
        Field(discriminator="kind"),
    ],
    BeforeValidator(_read_step),
]
