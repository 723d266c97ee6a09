"""The sequence as a tree, with what to expect of each part of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from benchctl.runner.checks.preflight import Preflight
from benchctl.runner.expected.expected_step import ExpectedStep
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.plan import Branch, PlannedStep


@dataclass(frozen=True)
class ExpectedPart:
    """A step, or steps that belong together, and what to expect of them.

    Attributes:
        number: its place in the file, such as `3.2`; empty for the whole sequence.
        title: what it is, in words.
        duration_s: how long it takes, open waits as is likely.
        at_most_s: how long it may take, where that is open.
        energy_j: from the supply.
        peak_a: the highest supply current.
        heatsink_c: at its end.
        is_loop: whether its parts are the same steps over and over.
        parts: in order; none for a step.
    """

    number: str
    title: str
    duration_s: float
    at_most_s: float | None
    energy_j: float
    peak_a: float
    heatsink_c: float
    is_loop: bool = False
    parts: tuple[ExpectedPart, ...] = ()

    @property
    def rows(self) -> int:
        """How many lines it takes to show all of it."""
        return 1 + sum(part.rows for part in self.parts)


_Steps = Iterator[tuple[WorstCase, ExpectedStep]]


def expected_tree(outline: Branch, checked: Preflight) -> ExpectedPart:
    """What preflight expects of the whole sequence; `outline` is that of the plan that was checked."""
    return _of_branch(outline, iter(zip(checked.worst_cases, checked.expected_steps, strict=True)))


def _of_branch(branch: Branch, steps: _Steps) -> ExpectedPart:
    setting = None if branch.setting is None else _of_step(branch.setting, steps)
    parts = [
        _of_branch(child, steps) if isinstance(child, Branch) else _of_step(child, steps) for child in branch.children
    ]
    # A point of a sweep is named by the step that sets it.
    every = parts if setting is None else [setting, *parts]
    return replace(together(branch.number, branch.title, every), parts=tuple(parts), is_loop=branch.is_loop)


def _of_step(planned: PlannedStep, steps: _Steps) -> ExpectedPart:
    worst, expected = next(steps)
    return ExpectedPart(
        planned.number,
        planned.title,
        expected.duration_s,
        worst.at_most_s,
        expected.energy_j,
        expected.peak_a,
        expected.heatsink_c,
    )


def together(number: str, title: str, parts: Sequence[ExpectedPart]) -> ExpectedPart:
    """What to expect of estimates that follow each other, as one estimate without parts."""
    is_open = any(part.at_most_s is not None for part in parts)
    return ExpectedPart(
        number=number,
        title=title,
        duration_s=sum(part.duration_s for part in parts),
        at_most_s=sum(part.at_most_s or part.duration_s for part in parts) if is_open else None,
        energy_j=sum(part.energy_j for part in parts),
        peak_a=max(part.peak_a for part in parts),
        heatsink_c=parts[-1].heatsink_c,
    )
