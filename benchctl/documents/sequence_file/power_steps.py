"""Steps that measure what the amplifier delivers: the clean level, bursts, continuous power, long drives."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Annotated, ClassVar, Literal

from pydantic import Field

from benchctl.documents.model.criteria import BelowCelsius, Expectations, WithinKelvins, expecting
from benchctl.documents.model.fields import Distortion, PositiveSeconds, PositiveVolts, Ratio, Volts, YesNo, bounded
from benchctl.documents.model.level import LEVEL, DriveLevel
from benchctl.documents.model.model_base import PathProblem, doubled
from benchctl.documents.sequence_file.step_base import (
    DRIVEN,
    FOLD_BACK_FIGURES,
    ON_PROTECTION,
    PROTECTION_FIGURES,
    CycleCount,
    Driven,
    DrivenInputs,
    Named,
    OnProtection,
    RestLevel,
    State,
)

# That of a sine is 3 dB, and between bursts of it there must be a rest.
CrestFactor = Annotated[Ratio, bounded("dB", above=math.sqrt(2.0), at_most=100)]

BURST_FIGURES = (
    "burst_power_clean",
    "burst_power_first",
    "burst_power_highest",
    "burst_power_lowest",
    "burst_power_last",
    "half_power",
    "half_load",
    "droop",
    "droop_time_constant",
    "thd_n",
    "output_rms",
    "output_peak",
    "supply_voltage",
    "supply_voltage_lowest",
    "supply_voltage_sag",
    "supply_current",
    "supply_current_peak",
    "efficiency",
    "marginal_efficiency",
    "watts_per_ampere",
    "heatsink_temperature",
    "ambient_temperature",
)
CONTINUOUS_FIGURES = (
    "continuous_power",
    "half_power",
    "half_load",
    "output_rms",
    "output_peak",
    "thd_n",
    "thd",
    "crest_factor",
    "carrier_residue",
    "carrier_frequency",
    "supply_voltage",
    "supply_output_voltage",
    "supply_voltage_lowest",
    "supply_voltage_sag",
    "static_sag",
    "supply_current",
    "supply_current_peak",
    "efficiency",
    "marginal_efficiency",
    "watts_per_ampere",
    "heatsink_temperature",
    "ambient_temperature",
)
SOAK_FIGURES = (
    "soak_time",
    "held_power",
    "held_thd_n",
    "held_supply_voltage",
    "average_power",
    "power_drift",
    "crest_factor",
    "efficiency",
    "watts_per_ampere",
    "supply_current",
    "supply_current_drift",
    "supply_voltage",
    "supply_output_voltage",
    "fuse_load",
    "heatsink_temperature",
    "ambient_temperature",
    "final_heatsink_temperature",
    "heatsink_time_constant",
    "heatsink_time_constant_fast",
)


class Powered(Driven):
    """A drive at one frequency into one load."""

    STATE: ClassVar[tuple[State, ...]] = ("power", "load", "frequency")
    AT_TIMES: ClassVar[tuple[str, ...]] = PROTECTION_FIGURES

    driven: DrivenInputs | None = Field(default=None, description=f"{DRIVEN}; if left out, as the last `set` says")


class _Search(Powered):
    """What a search over the drive level is told."""

    thd_n: Distortion = Field(default=0.01, description="the highest distortion (THD+N) that counts as clean")
    from_v: PositiveVolts = Field(
        default=0.01, description="level at which the search starts, RMS; it must be clean there"
    )
    to_v: PositiveVolts = Field(default=2.0, description="the highest level that the search may try, RMS")
    step_ratio: Annotated[Ratio, bounded("dB", above=1, at_most=10)] = Field(
        default=1.9952623149688795,
        alias="step",
        description="the largest step beyond the highest level that is known to be clean",
        json_schema_extra={"default": "6 dB"},
    )
    on_protection: OnProtection = Field(default="go on", description=ON_PROTECTION)

    def problems(self) -> Iterator[PathProblem]:
        if self.to_v <= self.from_v:
            yield PathProblem(("to",), "the highest level must lie above the level the search starts from")


class FindCleanLevel(_Search):
    """Search for the highest level of a steady tone that keeps a distortion bound; later steps use it."""

    kind: Literal["find_clean_level"] = "find_clean_level"


class MeasureBurst(Named, _Search):
    """Measure power in short bursts, at clean and at full drive, each searched for each burst length."""

    kind: Literal["measure_burst"] = "measure_burst"
    cycles: tuple[CycleCount, ...] = Field(min_length=1, description="lengths of the bursts, in whole cycles")
    every_s: PositiveSeconds = Field(
        default=0.5, description="time from the start of one burst to the start of the next"
    )
    low_level_ratio: RestLevel = Field(
        default=0.1,
        alias="low_level",
        description="level between the bursts, relative to the level in the burst, such as `-20 dB`",
    )
    expect: Annotated[Expectations, *expecting(*BURST_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `burst_power_clean: above 140 W`"
    )

    def problems(self) -> Iterator[PathProblem]:
        yield from super().problems()
        yield from doubled(self.cycles, "cycles")


class MeasureContinuous(Named, Powered):
    """Measure power, distortion, supply current and efficiency with a steady tone."""

    AT_TIMES: ClassVar[tuple[str, ...]] = (*FOLD_BACK_FIGURES, *PROTECTION_FIGURES)

    kind: Literal["measure_continuous"] = "measure_continuous"
    for_s: PositiveSeconds = Field(default=5.0, description="how long the tone is held before the record is taken")
    level: DriveLevel | None = Field(
        default=None, description=f"{LEVEL}; if left out, the level that drives it already, else the last clean level"
    )
    on_protection: OnProtection = Field(default="go on", description=ON_PROTECTION)
    expect: Annotated[Expectations, *expecting(*CONTINUOUS_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `continuous_power: above 140 W`"
    )


class StatePower(Named, _Search):
    """State the clean power at exactly one voltage at the amplifier's terminals, from powers at two supply voltages."""

    kind: Literal["state_power"] = "state_power"
    at_v: PositiveVolts = Field(
        description="the voltage at the amplifier's terminals, such as the 14.4 V that ratings are given for",
        examples=["14.4 V"],
    )
    higher_by_v: Annotated[Volts, bounded("V", above=0, at_most=5)] = Field(
        default=0.3,
        description="how much higher than now the supply is set for the other power, as the leads take something",
    )
    expect: Annotated[Expectations, *expecting("stated_power", "power_per_volt")] = Field(
        default_factory=dict, description="acceptance criteria, such as `stated_power: above 140 W`"
    )


class Soak(Named, Powered):
    """Drive for a long time and predict the heatsink's final temperature; with a tone, or with bursts as in music."""

    ROLES: ClassVar[tuple[str, ...]] = ("generator", "oscilloscope", "load", "supply", "thermometer")
    AT_TIMES: ClassVar[tuple[str, ...]] = (*FOLD_BACK_FIGURES, *PROTECTION_FIGURES)

    RENAMED: ClassVar[Mapping[str, str]] = {"of_rated": "level: 12.5 % rated"}

    kind: Literal["soak"] = "soak"
    for_s: PositiveSeconds = Field(description="the longest time to drive", examples=["30 min"])
    until: WithinKelvins | None = Field(
        default=None,
        description="end early once the heatsink's final temperature is predicted so well, such as `within 1 "
        "K`; if left out, the whole time is used",
    )
    level: DriveLevel | None = Field(default=None, description=f"{LEVEL}; if left out, the last clean level")
    adjust: YesNo = Field(
        default=False,
        description="whether to set the level again once the amplifier plays, by 0.7 dB at most, so that every channel "
        "surely gives the power that `level` asks for, but not so far that it distorts more than its plate allows. Of "
        "rated power or more, `held_power` and `held_thd_n` are then judged against the plate",
    )
    heatsink: BelowCelsius | None = Field(
        default=None,
        description="what the heatsink must stay, such as `below 80 degC`; the drive ends early when it does not",
    )
    without_thermometer_s: PositiveSeconds | None = Field(
        default=None,
        description="how long to drive at most where nothing watches the heatsink and `heatsink` or `until` is given; "
        "if left out, one time constant of the amplifier's heatsink, or as long as it is expected to take to where "
        "the drive should end",
    )
    cycles: CycleCount | None = Field(
        default=None,
        description="length of the bursts, in whole cycles; if neither this nor `crest_factor` is given, the "
        "tone is steady",
    )
    crest_factor_ratio: CrestFactor | None = Field(
        default=None,
        alias="crest_factor",
        description="crest factor of the bursts, such as `9 dB`; their length follows from it. Loud music has"
        " 6 to 12 dB",
    )
    every_s: PositiveSeconds = Field(
        default=0.5, description="time from the start of one burst to the start of the next"
    )
    low_level_ratio: RestLevel = Field(
        default=0.1,
        alias="low_level",
        description="level between the bursts, relative to the level in the burst, such as `-20 dB`",
    )
    on_protection: OnProtection = Field(default="go on", description=ON_PROTECTION)
    expect: Annotated[Expectations, *expecting(*SOAK_FIGURES)] = Field(
        default_factory=dict, description="acceptance criteria, such as `final_heatsink_temperature: below 80 degC`"
    )

    @property
    def is_steady(self) -> bool:
        """Whether it drives with a tone, and not with bursts."""
        return self.cycles is None and self.crest_factor_ratio is None

    def problems(self) -> Iterator[PathProblem]:
        if self.adjust and (not self.is_steady or self.level is None or self.level.of not in {"watts", "rated"}):
            yield PathProblem(
                ("adjust",), "only the power of a steady tone can be reached; give a level such as '100 % rated'"
            )
        if self.cycles is not None and self.crest_factor_ratio is not None:
            yield PathProblem(
                ("crest_factor",), "cycles and crest_factor both say how long a burst is; give one of them"
            )


PowerStep = FindCleanLevel | MeasureBurst | MeasureContinuous | StatePower | Soak
