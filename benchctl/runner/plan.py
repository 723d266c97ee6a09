"""From a sequence to a flat list of steps, sweeps expanded, each with its number and the conditions it runs under."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from benchctl.documents.sequence import Sequence
from benchctl.documents.steps import Set, StepBase, Sweep
from benchctl.quantity import render

_AXIS_UNITS = {"load": "ohm", "frequency": "Hz", "level": "V"}


@dataclass(frozen=True)
class PlannedStep:
    """One step as it will be performed.

    Attributes:
        number: its place in the file, such as `3.2` for the second step in a sweep that is the third step.
        point: the sweep's values at this turn, in words; empty outside a sweep.
        step: what to do.
    """

    number: str
    point: str
    step: StepBase

    @property
    def label(self) -> str:
        """How the step is named in the journal, the terminal and the table of figures."""
        return f"{self.number} {self.step.kind}" + (f" [{self.point}]" if self.point else "")


def expand(sequence: Sequence) -> tuple[PlannedStep, ...]:
    """Every step in the order in which it is performed."""
    return tuple(_expanded(sequence.steps, "", ""))


def _expanded(steps: Iterable[StepBase], prefix: str, point: str) -> Iterator[PlannedStep]:
    for place, step in enumerate(steps, start=1):
        number = f"{prefix}{place}"
        if isinstance(step, Sweep):
            yield from _swept(step, number, point)
        else:
            yield PlannedStep(number, point, step)


def _swept(sweep: Sweep, number: str, outer: str) -> Iterator[PlannedStep]:
    for values in sweep.points():
        point = ", ".join(filter(None, [outer, _in_words(values)]))
        yield PlannedStep(number, point, _setting(values))
        yield from _expanded(sweep.steps, f"{number}.", point)


def _in_words(values: Mapping[str, float]) -> str:
    return ", ".join(render(value, _AXIS_UNITS[axis]) for axis, value in values.items())


def _setting(values: Mapping[str, float]) -> Set:
    """The step that takes the bench to a point of a sweep."""
    return Set(load_ohm=values.get("load"), frequency_hz=values.get("frequency"), level_v=values.get("level"))
