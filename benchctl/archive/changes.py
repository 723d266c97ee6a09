"""What has changed between two runs of one sequence: before a repair and after it, this year and last."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from benchctl.archive.compare import identity, label
from benchctl.archive.entries import Conditions, FiguresEntry
from benchctl.measure.figure import Figure

_Key = tuple[str, str, Conditions, tuple[str, str, int | None, float | None, float | None]]


@dataclass(frozen=True)
class Change:
    """A figure that is not what it was; None where one of the runs has no such figure."""

    step: str
    before: Figure | None
    after: Figure | None

    @property
    def figure(self) -> Figure:
        """The figure as it is now, or as it was where it is gone."""
        found = self.after or self.before
        assert found is not None, "a change is of something"
        return found

    def __str__(self) -> str:
        was, now = (_in_words(figure) for figure in (self.before, self.after))
        return f"{label(self.step, self.figure)}: was {was}, is {now}"


def _in_words(figure: Figure | None) -> str:
    return "not measured" if figure is None else f"{figure.bound} {figure.value:.4g} {figure.unit}".strip()


def changed_figures(before: Sequence[FiguresEntry], after: Sequence[FiguresEntry]) -> list[Change]:
    """Figures whose difference is beyond its uncertainty, and those that only one of the runs has.

    Figures belong together that come from the same step at the same point. Two values v, w with expanded uncertainties
    U, V differ if |v - w| > sqrt(U^2 + V^2), as for uncertainties that are independent; a bound differs from what lies
    wholly beyond it. On one bench the same instruments err alike in both runs, so this finds less than there may be,
    never more. A value of unknown uncertainty, or a bound beside a bound, tells no change.
    """
    old, new = _by_key(before), _by_key(after)
    return list(_changes(old, new))


def _by_key(entries: Sequence[FiguresEntry]) -> dict[_Key, Figure]:
    return {
        (entry.step, entry.analysis, entry.conditions, identity(figure)): figure
        for entry in entries
        for figure in entry.figures
    }


def _changes(old: dict[_Key, Figure], new: dict[_Key, Figure]) -> Iterator[Change]:
    for key in [*old, *(key for key in new if key not in old)]:
        before, after = old.get(key), new.get(key)
        if before is None or after is None or _differ(before, after):
            yield Change(key[0], before, after)


def _differ(before: Figure, after: Figure) -> bool:
    if before.bound and after.bound:
        return False
    if before.bound or after.bound:
        bound, value = (before, after) if before.bound else (after, before)
        return _is_beyond(value, bound)
    if before.expanded_uncertainty is None or after.expanded_uncertainty is None:
        return False
    return abs(after.value - before.value) > math.hypot(before.expanded_uncertainty, after.expanded_uncertainty)


def _is_beyond(value: Figure, bound: Figure) -> bool:
    if value.expanded_uncertainty is None:
        return False
    if bound.bound == "at most":
        return value.value - value.expanded_uncertainty > bound.value
    return value.value + value.expanded_uncertainty < bound.value
