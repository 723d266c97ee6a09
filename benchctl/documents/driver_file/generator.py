"""Driver file of a function generator."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Literal

from pydantic import Field

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
from benchctl.documents.driver_file.language.values import REAL
from benchctl.documents.model.model_base import PathProblem

_OfOutput = Annotated[Command, *offering(optional=OUTPUT)]


class GeneratorCommands(CommonCommands):
    """Sine, level, frequency, bursts with a low level between them. Levels are RMS.

    Of a generator with two outputs each command is sent for each output in turn, with its number as `{output}`; what
    starts bursts at both in one instant is `burst_start`.
    """

    prepare: _OfOutput = Field(default=Command(), description="sent after reset, before anything else")
    set_frequency: Annotated[Command, *offering(frequency_hz=REAL, optional=OUTPUT)] = Field(
        description="tune the sine"
    )
    get_frequency: Annotated[Query, *asking(quantity="Hz", optional=OUTPUT, may_lack=True)] = Field(
        description="answers the frequency, Hz"
    )
    set_level: Annotated[Command, *offering(level_v=REAL, optional=OUTPUT)] = Field(description="set the level, V RMS")
    get_level: Annotated[Query, *asking(quantity="V", optional=OUTPUT, may_lack=True)] = Field(
        description="answers the level, V RMS"
    )
    burst_on: Annotated[
        Command, *offering(level_v=REAL, low_level_v=REAL, burst_s=REAL, rest_s=REAL, optional=OUTPUT)
    ] = Field(description="start endless repetitions: a burst at the level, then rest at the low level")
    burst_start: Plain = Field(
        default=Command(), description="start what `burst_on` has set, at every output; leave it out if that starts it"
    )
    burst_off: _OfOutput = Field(description="back to a steady tone")
    output_on: _OfOutput = Field(description="connect the output")
    output_off: _OfOutput = Field(description="disconnect the output")
    get_output: Annotated[Query, *asking(optional=OUTPUT, may_lack=True)] = Field(
        description="answers yes where the output is connected, else no"
    )

    @property
    def choose_outputs(self) -> bool:
        """Whether they are for a generator with several outputs."""
        told = (self.set_level, self.output_on, self.output_off)
        asked = [self.get_output] if self.get_output else []
        return all(any("output" in template.uses for template in words.templates) for words in (*told, *asked))


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
    commands: GeneratorCommands

    def problems(self) -> Iterator[PathProblem]:
        yield from switching_problems(self, "output_on")
