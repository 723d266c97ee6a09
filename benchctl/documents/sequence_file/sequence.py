"""Sequence files: what to do, step by step, with limits and acceptance criteria."""

from __future__ import annotations

import math
from collections.abc import Iterator

from pydantic import Field

from benchctl.documents.model.fields import Line, Pair, ParameterName, Prose
from benchctl.documents.model.limits import Limits
from benchctl.documents.model.model_base import Document, PathProblem
from benchctl.documents.sequence_file.references import Parameter
from benchctl.documents.sequence_file.step_base import AfterPowerCycle
from benchctl.documents.sequence_file.steps import Repeat, Step, Sweep, When
from benchctl.quantity import in_minutes

# A step that measures takes seconds, so this many are a week of work; more is a slip in a list.
MOST_EXPANDED_STEPS = 10_000


def expanded_count(steps: tuple[Step, ...]) -> int:
    """How many steps are performed at most once every sweep and repeat is written out."""
    return sum(_expanded_count(step) for step in steps)


def _expanded_count(step: Step) -> int:
    match step:
        case Sweep() | Repeat():
            return _turns(step) * expanded_count(step.steps)
        case When():
            return expanded_count(step.steps)
        case _:
            return 1


def given_s(steps: tuple[Step, ...]) -> float:
    """How long the steps take by what is written behind `for`, with every sweep and repeat written out."""
    return sum(_given_s(step) for step in steps)


def _given_s(step: Step) -> float:
    match step:
        case Sweep() | Repeat():
            return _turns(step) * given_s(step.steps)
        case When():
            return given_s(step.steps)
        case _:
            return float(getattr(step, "for_s", 0.0))


def _turns(step: Sweep | Repeat) -> int:
    return step.times if isinstance(step, Repeat) else math.prod(map(len, step.axes.values()))


def _too_many_in_words(count: int, seconds: float) -> str:
    return (
        f"this makes {count} steps, whose `for` alone make {in_minutes(seconds)}; at most {MOST_EXPANDED_STEPS} steps "
        "can be run; give fewer values, or fewer turns"
    )


class Sequence(Document):
    """A whole sequence file."""

    title: Line = Field(
        description="one line for the report's head and the run folder's name", examples=["Power into 4 ohm, warm"]
    )
    purpose: Prose = Field(default="", description="what the sequence finds out")
    parameters: dict[ParameterName, Parameter] = Field(
        default_factory=dict, description="values that may be set for one run; used as `{from: name}`"
    )
    bridged: Pair | None = Field(
        default=None,
        description="two outputs of the amplifier that drive one load between them in this test, such as `[A, B]`; "
        "amplifier and bench file say what the plate rates then and where the probe is",
    )
    limits: Limits = Field(
        default_factory=Limits, description="watched from the first step to the last; any one stops the run"
    )
    after_power_cycle: AfterPowerCycle = Field(
        default="end the run",
        description="what to do when an instrument was switched off and on and has lost its settings; to "
        "repeat the step, the bench is made safe and set up again, at most twice for each step",
    )
    steps: tuple[Step, ...] = Field(min_length=1, description="what is done, in order")

    def problems(self) -> Iterator[PathProblem]:
        yield from _power_problems(self.steps)
        yield from _name_problems(self.steps)
        count = expanded_count(self.steps)
        if count > MOST_EXPANDED_STEPS:
            yield PathProblem(("steps",), _too_many_in_words(count, given_s(self.steps)))


def in_order(
    steps: tuple[Step, ...], path: tuple[str | int, ...] = ("steps",)
) -> Iterator[tuple[Step, tuple[str | int, ...]]]:
    """Every step once, in the order of the file, with its path; the steps that it holds follow it."""
    for index, step in enumerate(steps):
        yield step, (*path, index)
        if isinstance(step, Sweep | Repeat | When):
            yield from in_order(step.steps, (*path, index, "steps"))


def _name_problems(steps: tuple[Step, ...]) -> Iterator[PathProblem]:
    """A criterion can be told from the figures of a step before it; two steps of one name would be two answers."""
    named: set[str] = set()
    for step, path in in_order(steps):
        for key in ("expect", "criteria"):
            for figure, criterion in getattr(step, key, {}).items():
                if criterion.of and criterion.of not in named:
                    where = (*path, figure) if key == "criteria" else (*path, key, figure)
                    yield PathProblem(where, f"no step before this one has the name '{criterion.of}'; give it one")
        name = getattr(step, "name", None)
        if name in named:
            yield PathProblem((*path, "name"), f"an earlier step has the name '{name}' already")
        if name is not None:
            named.add(name)


_SWITCHING_ON = ("power_on", "ramp_supply")


def _power_problems(steps: tuple[Step, ...]) -> Iterator[PathProblem]:
    """Switching on twice, or measuring an amplifier that is off, is a slip of the pen."""
    on = False
    for step, path in in_order(steps):
        if isinstance(step, When) and step.criteria:
            yield from _one_sided(step, path)
        if step.kind in _SWITCHING_ON and on:
            yield PathProblem(path, "the amplifier is on already; give 'power_off' first")
        elif "power" in step.STATE and not on:
            yield PathProblem(path, f"'{step.kind}' comes while the amplifier is off; give 'power_on' first")
        if step.kind in (*_SWITCHING_ON, "power_off"):
            on = step.kind in _SWITCHING_ON


def _one_sided(when: When, path: tuple[str | int, ...]) -> Iterator[PathProblem]:
    """What figures decide on must leave the amplifier as it found it, on or off: nobody knows beforehand whether it is
    performed, and what comes behind it must hold in both cases."""
    inside = in_order(when.steps, (*path, "steps"))
    switching = [(step, position) for step, position in inside if step.kind in (*_SWITCHING_ON, "power_off")]
    if not switching:
        return
    (first, _), (last, position) = switching[0], switching[-1]
    was_on, is_on = first.kind == "power_off", last.kind in _SWITCHING_ON
    if was_on and not is_on:
        yield PathProblem(
            position, "where the condition does not hold, the amplifier stays on; put 'power_off' behind the 'when'"
        )
    elif is_on and not was_on:
        yield PathProblem(
            position, f"where the condition does not hold, the amplifier stays off; put '{last.kind}' before the 'when'"
        )
