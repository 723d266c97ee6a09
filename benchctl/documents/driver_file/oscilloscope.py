"""Driver files of an oscilloscope."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Literal

from pydantic import Field

from benchctl.documents.driver_file.common import (
    ROLE,
    CommonCommands,
    Confirmation,
    DriverFile,
    Optional,
    OptionalQuestion,
    Plain,
    confirming,
)
from benchctl.documents.driver_file.language.commands import Command, offering
from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.questions import Queries, asking, asking_for
from benchctl.documents.driver_file.language.steps import Range, Steps, limits_of, steps_of
from benchctl.documents.driver_file.language.values import REAL, WHOLE, WORD, Kind
from benchctl.documents.driver_file.records import MEMORY, SAMPLES, Memory, Samples
from benchctl.documents.model.fields import Ratio, Seconds, Whole, bounded, counted
from benchctl.documents.model.model_base import Part, PathProblem, PathProblems
from benchctl.documents.text.tree import Table

_CHANNEL: dict[str, Kind] = {"channel": WHOLE}
RANGES: dict[str, Kind] = {"volts_per_division": REAL, "millivolts_per_division": REAL, "range_v": REAL}
OFFSETS: dict[str, Kind] = {"offset_v": REAL, "shift_v": REAL, "shift_divisions": REAL}
PROBES: dict[str, Kind] = {"probe_ratio": REAL, "probe_gain": REAL}
TIME_BASES: dict[str, Kind] = {
    "seconds_per_division": REAL,
    "span_s": REAL,
    "interval_s": REAL,
    "sample_rate_hz": REAL,
}
POSITIONS: dict[str, Kind] = {
    "pretrigger_s": REAL,
    "pretrigger_percent": REAL,
    "pretrigger_samples": WHOLE,
    "start_s": REAL,
    "center_s": REAL,
    "trigger_from_center_s": REAL,
}
LENGTHS: dict[str, Kind] = {"samples": WHOLE, "memory": WORD}
PLACES: dict[str, Kind] = {"first": WHOLE, "last": WHOLE, "offset": WHOLE, "count": WHOLE}
# What `get_scale` may tell: how to place samples in time, and what codes stand for.
_STEPS_OF_TIME = ("interval", "sample_rate", "end")


class OscilloscopeCommands(CommonCommands):
    """Channels, time base, trigger, one record at a time, and the samples with their scale."""

    show_channel: Annotated[Command, *offering(channel=WHOLE)] = Field(description="take this channel into the record")
    hide_channel: Annotated[Command, *offering(channel=WHOLE, may_lack=True)] = Field(
        description="leave this channel out of the record"
    )
    set_probe: Annotated[Command, *offering(PROBES, channel=WHOLE)] = Field(
        default=Command(),
        description="set the probe's ratio (20) or gain (0.05); where it is given, the instrument tells and takes "
        "volts at the probe's tip, else at its input",
        examples=["CHAN{channel}:PROB {probe_ratio:g}"],
    )
    set_vertical: Annotated[Command, *offering(RANGES, OFFSETS, channel=WHOLE)] = Field(
        description="set a channel's range, and the voltage in the middle of the screen (`offset_v`; `shift_v` and "
        "`shift_divisions` say how far the trace is lifted instead)"
    )
    get_vertical: Annotated[Query, *asking(quantity="V", channel=WHOLE, may_lack=True)] = Field(
        description="answers the range that is set: volts per division, or the whole range where `set_vertical` takes "
        "`range_v`"
    )
    set_record: Annotated[Command, *offering(TIME_BASES, optional={**POSITIONS, **LENGTHS})] = Field(
        description="set time base, number of samples, and where the trigger lies in the record"
    )
    get_time_base: Annotated[Query, *asking(may_lack=True)] = Field(
        default=Query(),
        description="answers the time base that is set, as `set_record` takes it",
        examples=["TIM:SCAL?"],
    )
    trigger_external: Optional = Field(description="trigger on the external input's rising edge")
    trigger_channel: Annotated[Command, *offering(channel=WHOLE, level_v=REAL, may_lack=True)] = Field(
        description="trigger on a channel's rising edge"
    )
    trigger_free: Optional = Field(description="take a record without waiting for a trigger")
    force_trigger: Optional = Field(
        default=Command(),
        description="trigger now; for records without a trigger where `trigger_free` is `none`",
        examples=["TRIG:FORC"],
    )
    single: Plain = Field(description="arm for one record")
    stop: Optional = Field(description="leave a record that waits for its trigger")
    get_finished: OptionalQuestion = Field(description="answers yes once the record is whole")
    get_scale: Annotated[
        Queries,
        *asking_for(
            {},
            extra={
                "interval": "s",
                "sample_rate": "Hz",
                "start": "s",
                "end": "s",
                "center": "s",
                "pretrigger": "s",
                "trigger_sample": "",
                "reference_sample": "",
                "points": "",
                "volts_per_code": "V",
                "zero_code": "",
                "reference_code": "",
                "volts_at_zero": "V",
            },
            optional=_CHANNEL,
            may_be_one_line=False,
        ),
    ] = Field(
        description="answers what samples stand for. time(n) = `start` + (n - `reference_sample`) x `interval`; "
        "volts = (code - `zero_code` - `reference_code`) x `volts_per_code` + `volts_at_zero`"
    )
    choose_source: Annotated[Command, *offering(channel=WHOLE, may_lack=True)] = Field(
        default=Command(),
        description="choose the channel that scale and samples are asked of",
        examples=["WAV:SOUR CHAN{channel}"],
    )
    get_samples: Annotated[Query, *asking(optional={**_CHANNEL, **PLACES})] = Field(
        description="answers the samples, all of them or a part: `first` and `last` count from 1, `offset` from 0"
    )


class Divisions(Part):
    """Divisions of the screen, which turn a setting per division into full scale."""

    vertical: Annotated[Whole, counted(at_least=2, at_most=20, example=8)] = Field(
        default=8, description="divisions of the screen from bottom to top"
    )
    horizontal: Annotated[Whole, counted(at_least=2, at_most=20, example=10)] = Field(
        default=10, description="divisions of the screen from left to right"
    )


class OscilloscopeDriver(DriverFile):
    """Driver file of an oscilloscope."""

    role: Literal["oscilloscope"] = ROLE
    confirm: Annotated[tuple[Confirmation, ...], *confirming()] = Field(
        default_factory=tuple,
        description="questions with the answer that is right, asked after `prepare`",
        examples=[{"WAV:FORM?": "WORD"}],
    )
    steps: Annotated[Mapping[str, Steps], *steps_of("oscilloscope")] = Field(
        default_factory=dict, description="the steps in which a setting can be set"
    )
    limits: Annotated[Mapping[str, Range], *limits_of("oscilloscope")] = Field(
        default_factory=dict, description="the least and the most that a setting takes"
    )
    divisions: Divisions = Field(default=Divisions(), description="divisions of the screen")
    samples: Annotated[Samples, *SAMPLES] = Field(
        default_factory=Samples,
        description="how samples are sent: their type, or `{type, order, chunk, skip}`; floats and text are volts; "
        "`int16`, low byte first, if left out",
        examples=[{"type": "uint8", "chunk": 250_000}],
    )
    memory: Annotated[Memory, *MEMORY] = Field(
        default_factory=Memory,
        description="the lengths of record that can be set, in samples: a list, the instrument's words with their "
        "lengths, or `auto`, if the length follows by itself; any length, if left out",
        examples=[[12_000, 120_000, 1_200_000]],
    )
    pretrigger: Ratio | None = Field(
        default=None, description="the part of a record before its trigger, where that cannot be set", examples=["50 %"]
    )
    roll_from_s: Annotated[Seconds, bounded("s", above=0)] | None = Field(
        default=None, description="from this time a division on, a record waits for no trigger", examples=["50 ms"]
    )
    commands: OscilloscopeCommands

    def problems(self) -> Iterator[PathProblem]:
        yield from self._record_problems()
        yield from self._scale_problems()
        yield from self._sample_problems()
        if not (self.commands.trigger_external or self.commands.trigger_channel):
            yield PathProblem(
                ("commands", "trigger_channel"),
                "'trigger_external' and 'trigger_channel' are both none; a record needs a trigger",
            )

    def _record_problems(self) -> Iterator[PathProblem]:
        uses, where = self.commands.set_record.uses, ("commands", "set_record")
        if self.pretrigger is None and uses.isdisjoint(POSITIONS):
            yield PathProblem(
                where,
                f"nothing says where the trigger lies; use one of {_braced(POSITIONS)}, or give 'pretrigger' where it "
                "always lies at the same part of the record",
            )
        is_set = not self.memory.is_automatic and len(self.memory.lengths) != 1
        length = "memory" if self.memory.words else "samples"
        if is_set and length not in uses:
            yield PathProblem(
                where, f"the value '{{{length}}}' is not used; say 'memory: auto' where the length follows by itself"
            )
        if "memory" in uses and not self.memory.words:
            yield PathProblem(where, "'{memory}' is a word from 'memory', which has no words")

    def _scale_problems(self) -> Iterator[PathProblem]:
        told, where = self.commands.get_scale, ("commands", "get_scale")
        if not any(name in told for name in _STEPS_OF_TIME):
            yield PathProblem(where, f"the time between samples is not told; give one of {', '.join(_STEPS_OF_TIME)}")
        if "end" in told and "start" not in told and "interval" not in told:
            yield PathProblem(where, "'end' without 'start' does not tell the time between samples")
        if not self.samples.are_volts and "volts_per_code" not in told:
            yield PathProblem(where, "'volts_per_code' is missing; only floats and text are volts")

    def _sample_problems(self) -> Iterator[PathProblem]:
        uses, where = self.commands.get_samples.uses, ("commands", "get_samples")
        if not self.commands.choose_source and "channel" not in uses:
            yield PathProblem(
                where, "nothing says which channel is asked; give 'choose_source', or put '{channel}' into the question"
            )
        if self.samples.chunk and (uses.isdisjoint(("first", "offset")) or uses.isdisjoint(("last", "count"))):
            yield PathProblem(
                where, "a part of a record is asked for by '{first}' and '{last}', or by '{offset}' and '{count}'"
            )


def _braced(names: Mapping[str, Kind]) -> str:
    return ", ".join(f"'{{{name}}}'" for name in names)


def refuse_old_words(table: Table) -> None:
    """Say what to write now in a file that has `preamble`.

    Raises:
        PathProblems: it has.
    """
    if "preamble" in table:
        raise PathProblems(
            [
                PathProblem(
                    ("preamble",),
                    "'preamble' is not a key any more: what samples stand for is told by name in 'get_scale', and "
                    "'get_block' is called 'get_samples'. For a list of ten numbers write "
                    'get_scale: {ask: "WAV:PRE?", interval: 5, start: 6, reference_sample: 7, volts_per_code: 8, '
                    "zero_code: 9, reference_code: 10}; for a question each, get_scale: {interval: Q, start: Q, "
                    "volts_per_code: Q, zero_code: Q, volts_at_zero: Q}",
                    is_key=True,
                )
            ]
        )
