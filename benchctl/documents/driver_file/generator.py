"""Driver file of a function generator."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Annotated, Literal

from pydantic import Field, ValidationInfo, field_validator

from benchctl.documents.driver_file.common import (
    OUTPUT,
    ROLE,
    CommonCommands,
    Confirmation,
    DriverFile,
    Plain,
    confirming,
    switching_problems,
)
from benchctl.documents.driver_file.language.commands import Command, offering
from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.questions import asking
from benchctl.documents.driver_file.language.steps import Range, Steps, limits_of, steps_of
from benchctl.documents.driver_file.language.values import REAL, TABLE, WHOLE, Kind
from benchctl.documents.model.fields import Number
from benchctl.documents.model.model_base import Part, PathProblem
from benchctl.documents.text.words import listed

_OfOutput = Annotated[Command, *offering(optional=OUTPUT)]

# What a burst is made of -> the values that say it; of each, one must be used.
BURST_VALUES: Mapping[str, Mapping[str, Kind]] = {
    "level": {"level_v": REAL, "mean_level_v": REAL, "sum_level_v": REAL},
    "length": {"cycles": WHOLE, "burst_s": REAL, "duty_percent": REAL, "table": TABLE},
    "rhythm": {"every_s": REAL, "rest_s": REAL, "repetition_hz": REAL, "table_rate_hz": REAL},
    "rest": {"low_level_v": REAL, "low_percent": REAL, "depth_percent": REAL, "table": TABLE},
}
_IN_BURSTS: Mapping[str, Kind] = {
    **{name: kind for group in BURST_VALUES.values() for name, kind in group.items()},
    "table_points": WHOLE,
    **OUTPUT,
}
# What says the level of a square wave: its own, or that of the sine with the same peak.
_SQUARE_LEVELS: Mapping[str, Kind] = {"square_v": REAL, "level_v": REAL}
# What two tones are made of -> the values that say it; of each, one must be used. `table` holds both tones.
TWO_TONE_VALUES: Mapping[str, Mapping[str, Kind]] = {
    "level": {"level_v": REAL, "low_tone_v": REAL},
    "lower tone": {"low_tone_hz": REAL, "table": TABLE},
    "higher tone": {"high_tone_hz": REAL, "table": TABLE},
    "level of the higher tone": {"high_tone_v": REAL, "high_tone_percent": REAL, "table": TABLE},
    "rate of the table": {"table_rate_hz": REAL, "table_hz": REAL, "low_tone_hz": REAL},
}
_IN_TWO_TONES: Mapping[str, Kind] = {
    **{name: kind for group in TWO_TONE_VALUES.values() for name, kind in group.items()},
    "table_points": WHOLE,
    **OUTPUT,
}
# How a period is written -> the unit of the answer. A level is another matter: that what reads back is in the unit of
# the setting must be said, so that a level that is sent in the wrong unit shows in what reads back.
_PERIODS: Mapping[str, str] = {"period_s": "s a cycle", "period_ms": "ms a cycle", "period_us": "us a cycle"}
_OHMS: Mapping[str, float] = {"50 ohm": 50.0, "600 ohm": 600.0}


class GeneratorCommands(CommonCommands):
    """Sine, level, frequency, bursts. A level is that of the display; without another unit it is V RMS.

    Of a generator with two outputs each command is sent for each output in turn, with its number as `{output}`; what
    starts bursts at both in one instant is `burst_start`.
    """

    prepare: _OfOutput = Field(default=Command(), description="sent after reset, before anything else")
    set_frequency: Annotated[Command, *offering(frequency_hz=REAL, optional=OUTPUT)] = Field(
        description="tune the sine"
    )
    get_frequency: Annotated[Query, *asking(quantity="Hz", optional=OUTPUT, may_lack=True)] = Field(
        description="answers the frequency, or the period if that is what is set"
    )
    set_level: Annotated[Command, *offering(level_v=REAL, optional=OUTPUT)] = Field(description="set the level")
    get_level: Annotated[Query, *asking(quantity="V", optional=OUTPUT, may_lack=True)] = Field(
        description="answers the level, V RMS unless it says its `unit`, such as vpp"
    )
    burst_on: Annotated[Command, *offering(optional=_IN_BURSTS, may_lack=True)] = Field(
        description="set and start endless repetitions of a burst, while the output is off. It uses one value for the "
        "level, one for the length of the burst and one for the rhythm; and one for the level between bursts, unless "
        "`low_level: none`"
    )
    burst_start: Plain = Field(
        default=Command(), description="start what `burst_on` has set, at every output; leave it out if that starts it"
    )
    trigger_burst: Annotated[Command, *offering(optional=OUTPUT, may_lack=True)] = Field(
        default=Command(),
        description="play one burst of those that `burst_on` has set; where it is given, the run sends it again and "
        "again, and `burst_on` needs no rhythm",
        examples=["*TRG"],
    )
    burst_off: Annotated[Command, *offering(optional=OUTPUT, may_lack=True)] = Field(
        description="back to a steady tone, while the output is off"
    )
    square_on: Annotated[Command, *offering(optional={**_SQUARE_LEVELS, **OUTPUT}, may_lack=True)] = Field(
        default=Command(),
        description="a square wave of the frequency that is set instead of the sine, while the output is off. It uses "
        "`{square_v}`, the level in V RMS of the square wave, which is its peak; or `{level_v}`, that of the sine with "
        "the same peak. Leave it out if there is none",
    )
    square_off: Annotated[Command, *offering(optional=OUTPUT, may_lack=True)] = Field(
        default=Command(), description="back to the sine, while the output is off"
    )
    two_tones_on: Annotated[Command, *offering(optional=_IN_TWO_TONES, may_lack=True)] = Field(
        default=Command(),
        description="two tones at once instead of the sine, while the output is off. `{level_v}` is the level of the "
        "sine with the same peak as both together, `{low_tone_v}` and `{high_tone_v}` are V RMS of each tone; "
        "`{high_tone_percent}` is the higher tone as a part of the lower. `{table}` is a common period of both, its "
        "peak that of both together, played `{table_hz}` times a second. Leave it out if there is none",
    )
    two_tones_off: Annotated[Command, *offering(optional=OUTPUT, may_lack=True)] = Field(
        default=Command(), description="back to the sine, while the output is off"
    )
    output_on: _OfOutput = Field(description="connect the output")
    output_off: _OfOutput = Field(description="disconnect the output")
    get_output: Annotated[Query, *asking(optional=OUTPUT, may_lack=True)] = Field(
        description="answers yes where the output is connected, else no"
    )

    @field_validator("get_frequency", mode="after")
    @classmethod
    def _as_it_is_set(cls, asked: Query, info: ValidationInfo) -> Query:
        """Where the period is set, the period is answered."""
        told = info.data.get("set_frequency")
        unit = next((_PERIODS[name] for name in _written(told) if name in _PERIODS), "") if told else ""
        return replace(asked, form=replace(asked.form, unit=unit)) if asked and unit and not asked.form.unit else asked

    @property
    def choose_outputs(self) -> bool:
        """Whether they are for a generator with several outputs."""
        told = (self.set_level, self.output_on, self.output_off)
        asked = [self.get_output] if self.get_output else []
        return all(any("output" in template.uses for template in words.templates) for words in (*told, *asked))

    @property
    def has_bursts(self) -> bool:
        """Whether it can play bursts."""
        return bool(self.burst_on)

    @property
    def bursts_by_table(self) -> bool:
        """Whether burst and rest are one table of samples."""
        return "table" in self.burst_on.uses


class SampleTable(Part):
    """How the samples of burst and rest are written, for `{table}`."""

    type: Literal["text", "int16", "uint16", "float32"] = Field(
        default="text", description="text: numbers with commas between; else a block of such numbers"
    )
    lowest: Number = Field(default=-1.0, description="what the lowest voltage is written as")
    highest: Number = Field(default=1.0, description="what the highest voltage is written as")
    order: Literal["high_first", "low_first"] = Field(
        default="high_first", description="which byte of a number comes first in a block"
    )

    def problems(self) -> Iterator[PathProblem]:
        if self.highest <= self.lowest:
            yield PathProblem(("highest",), "it is more than 'lowest'")
        least, most = {"int16": (-32768, 32767), "uint16": (0, 65535)}.get(self.type, (-math.inf, math.inf))
        if self.lowest < least or self.highest > most:
            yield PathProblem(
                ("type",), f"{self.type} holds numbers from {least} to {most}; give 'lowest' and 'highest'"
            )


class GeneratorDriver(DriverFile):
    """Driver file of a function generator."""

    role: Literal["generator"] = ROLE
    confirm: Annotated[tuple[Confirmation, ...], *confirming(OUTPUT)] = Field(
        default_factory=tuple,
        description="questions with the answer that is right, asked after `prepare`",
        examples=[{"SOUR:VOLT:OFFS?": "0"}],
    )
    steps: Annotated[Mapping[str, Steps], *steps_of("generator")] = Field(
        default_factory=dict, description="the steps in which a setting can be set"
    )
    limits: Annotated[Mapping[str, Range], *limits_of("generator")] = Field(
        default_factory=dict, description="the least and the most that a setting takes"
    )
    low_level: Literal["as set", "none"] = Field(
        default="as set", description="none: nothing sounds between bursts; else `burst_on` sets the level there"
    )
    level_into: Literal["high", "50 ohm", "600 ohm"] = Field(
        default="high",
        description="the load for which the volts on the display hold; at the amplifier's high input they are twice "
        "that, where they hold for a matched load",
    )
    phase: Literal["locked", "free"] = Field(
        default="locked", description="free: a burst does not begin at a zero crossing of the sine"
    )
    sync: Literal["burst", "none"] = Field(
        default="burst", description="none: there is no sync output that rises when a burst begins"
    )
    table: SampleTable = Field(default=SampleTable(), description="how the samples of `{table}` are written")
    commands: GeneratorCommands

    @property
    def rests_are_silent(self) -> bool:
        """Whether nothing sounds between bursts."""
        return self.low_level == "none"

    @property
    def display_share(self) -> float:
        """Volts on the display for a volt at a high input."""
        return 0.5 if self.level_into in _OHMS else 1.0

    @property
    def trusted(self) -> str:
        """What is trusted of the last user's settings, in words; empty where a reset clears them."""
        if self.reset:
            return ""
        what = "offset, modulation, sweep, bursts, phase and the load of its display"
        if not self.confirm:
            return f"{what} are trusted to be as they should; its driver file has 'reset: none' and no 'confirm'"
        asked = listed([f"{each.question.text} {each}" for each in self.confirm])
        return f"of {what} only what 'confirm' asks is known: {asked}"

    def problems(self) -> Iterator[PathProblem]:
        yield from switching_problems(self, "output_on")
        yield from self._burst_problems()
        yield from self._square_problems()
        yield from self._two_tone_problems()

    def _square_problems(self) -> Iterator[PathProblem]:
        words = self.commands
        if words.square_on and words.square_on.uses.isdisjoint(_SQUARE_LEVELS):
            names = " or ".join(f"'{{{name}}}'" for name in _SQUARE_LEVELS)
            yield PathProblem(("commands", "square_on"), f"no value for the level is used; use {names}")
        yield from self._both_ways("square_on", "square_off", "a square wave")

    def _two_tone_problems(self) -> Iterator[PathProblem]:
        words = self.commands
        for what, values in TWO_TONE_VALUES.items():
            if words.two_tones_on and words.two_tones_on.uses.isdisjoint(values):
                names = ", ".join(f"'{{{name}}}'" for name in values)
                yield PathProblem(("commands", "two_tones_on"), f"no value for the {what} is used; use one of {names}")
        yield from self._both_ways("two_tones_on", "two_tones_off", "two tones")

    def _both_ways(self, on: str, off: str, what: str) -> Iterator[PathProblem]:
        if getattr(self.commands, on) and not getattr(self.commands, off):
            yield PathProblem(("commands", off), f"{what} must give way to the sine again; give this command")

    def _burst_problems(self) -> Iterator[PathProblem]:
        commands, at = self.commands, ("commands", "burst_on")
        if not commands.burst_on:
            if commands.trigger_burst:
                yield PathProblem(("commands", "trigger_burst"), "it plays a burst, and 'burst_on' is none")
            return
        if not commands.burst_off:
            yield PathProblem(("commands", "burst_off"), "bursts that begin must also end; give this command")
        for what in self._asked_of_bursts():
            if commands.burst_on.uses.isdisjoint(BURST_VALUES[what]):
                names = ", ".join(f"'{{{name}}}'" for name in BURST_VALUES[what])
                yield PathProblem(at, f"no value for the {_PARTS[what]} is used; use one of {names}")
        if self.rests_are_silent and (used := commands.burst_on.uses & _RESTS):
            yield PathProblem(at, f"'{{{min(used)}}}' is a level between bursts, and there is none: 'low_level: none'")

    def _asked_of_bursts(self) -> Iterator[str]:
        """The parts of a burst that `burst_on` must say."""
        yield from ("level", "length")
        if not self.commands.trigger_burst:
            yield "rhythm"
        if not self.rests_are_silent:
            yield "rest"


_PARTS: Mapping[str, str] = {
    "level": "level of the burst",
    "length": "length of the burst",
    "rhythm": "rhythm of the bursts",
    "rest": "level between bursts (or say 'low_level: none')",
}
_RESTS = frozenset(BURST_VALUES["rest"]) - {"table"}


def _written(command: Command) -> list[str]:
    """The values of a command as its templates write them."""
    return [name for template in command.templates for name in template.takes]
