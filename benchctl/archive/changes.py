"""What has changed between two runs of one sequence: before a repair and after it, this year and last."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from benchctl.archive.compare import identity, label
from benchctl.archive.journal.entries import FiguresEntry
from benchctl.measure.budget.figure import Figure
from benchctl.measure.conditions import Conditions


@dataclass(frozen=True)
class Occasion:
    """What figures of two runs must share to be compared: the step, its analysis, the conditions."""

    step: str
    analysis: str
    conditions: Conditions
    identity: tuple[str, str, int | None, float | None, float | None]


@dataclass(frozen=True)
class Change:
    """A figure in the earlier and in the later run; None where a run has no such figure."""

    place: Occasion
    before: Figure | None
    after: Figure | None

    @property
    def step(self) -> str:
        return self.place.step

    @property
    def figure(self) -> Figure:
        """The later figure, or the earlier one where there is no later one."""
        found = self.after or self.before
        assert found is not None, "a change is of something"
        return found

    @property
    def is_told(self) -> bool:
        """Whether the two can be compared at all."""
        if self.before is None or self.after is None:
            return True
        bounds = bool(self.before.bound) + bool(self.after.bound)
        known = sum(figure.expanded_uncertainty is not None for figure in (self.before, self.after))
        return bounds + known >= 2 and bounds < 2

    @property
    def is_change(self) -> bool:
        """Whether the difference is beyond its uncertainty, or only one of the runs has the figure.

        Two values v, w with expanded uncertainties U, V differ if |v - w| > sqrt(U^2 + V^2), as for uncertainties that
        are independent; a bound differs from a value that lies wholly beyond it. On one bench the same instruments have
        the same errors in both runs, so this finds too few changes, never too many. A value of unknown uncertainty, or
        two bounds, show no change.
        """
        return self.before is None or self.after is None or (self.is_told and _differ(self.before, self.after))

    def __str__(self) -> str:
        was, now = (_in_words(figure) for figure in (self.before, self.after))
        return f"{label(self.step, self.figure)}: was {was}, is {now}"


def _in_words(figure: Figure | None) -> str:
    return "not measured" if figure is None else f"{figure.bound} {figure.value:.4g} {figure.unit}".strip()


def compared_figures(before: Sequence[FiguresEntry], after: Sequence[FiguresEntry]) -> list[Change]:
    """Every figure of either run, changed or not: those of the first run in its order, then those that only the second
    run has."""
    whole = all(entry.conditions.is_whole for entry in (*before, *after))
    limits = all(_has_limits(entry) for entry in (*before, *after))
    old, new = (_by_place(entries, whole=whole, limits=limits) for entries in (before, after))
    return [Change(place, old.get(place), new.get(place)) for place in dict.fromkeys([*old, *new])]


def _has_limits(entry: FiguresEntry) -> bool:
    """Whether each level that a search found is on record with its distortion bound; older runs did not keep that."""
    each = (entry.conditions, *entry.captured.values())
    return all(one.thd_limit is not None for one in each if one.drive in {"clean", "full"})


def _by_place(entries: Sequence[FiguresEntry], *, whole: bool, limits: bool) -> dict[Occasion, Figure]:
    return {
        Occasion(
            entry.step, entry.analysis, _to_share(entry, figure, whole=whole, limits=limits), identity(figure)
        ): figure
        for entry in entries
        for figure in entry.figures
    }


def _to_share(entry: FiguresEntry, figure: Figure, *, whole: bool, limits: bool) -> Conditions:
    """The conditions that must be equal in both runs; a searched level may differ.

    Where one of the runs did not keep all its conditions, load and frequency are used. Idle figures of such a run carry
    the frequency that the generator was set to at the time.
    """
    found = entry.conditions_of(figure)
    if not whole:
        return Conditions(found.load_ohm, None if entry.analysis == "idle" else found.frequency_hz)
    found = found if limits else replace(found, thd_limit=None)
    return found if found.drive in ("set", "undriven") else replace(found, level_v=None)


def _differ(before: Figure, after: Figure) -> bool:
    if before.bound or after.bound:
        bound, value = (before, after) if before.bound else (after, before)
        return _is_beyond(value, bound)
    uncertainty = math.hypot(before.expanded_uncertainty or 0.0, after.expanded_uncertainty or 0.0)
    return abs(after.value - before.value) > uncertainty


def _is_beyond(value: Figure, bound: Figure) -> bool:
    uncertainty = value.expanded_uncertainty or 0.0
    if bound.bound == "at most":
        return value.value - uncertainty > bound.value
    return value.value + uncertainty < bound.value
