"""What has changed between two runs: before a repair and after it, this year and last, one unit and the next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from benchctl.archive.compare import identity, label
from benchctl.archive.journal.entries import FiguresEntry
from benchctl.measure.budget.figure import Figure, u_of_difference
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
    """A figure in the earlier and in the later run; None where a run has no such figure. `elsewhere` is the later run's
    step, where that has another name."""

    place: Occasion
    before: Figure | None
    after: Figure | None
    elsewhere: str = ""

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
        if self.before.contradiction or self.after.contradiction:
            return False
        bounds = bool(self.before.bound) + bool(self.after.bound)
        known = sum(figure.expanded_uncertainty is not None for figure in (self.before, self.after))
        return bounds + known >= 2 and bounds < 2

    @property
    def is_change(self) -> bool:
        """Whether the difference is beyond its uncertainty, or only one of the runs has the figure.

        Two values v, w with expanded uncertainties U, V differ if |v - w| > sqrt(U^2 + V^2), as for uncertainties that
        are independent; a bound differs from a value that lies wholly beyond it. On one bench the same instruments have
        the same errors in both runs, so this finds too few changes, never too many. A value of unknown uncertainty, two
        bounds, or a value that rests on instruments that contradict each other show no change.
        """
        return self.before is None or self.after is None or (self.is_told and _differ(self.before, self.after))

    def __str__(self) -> str:
        was, now = (_in_words(figure) for figure in (self.before, self.after))
        return f"{label(self.step, self.figure)}: was {was}, is {now}"


def _in_words(figure: Figure | None) -> str:
    return "not measured" if figure is None else f"{figure.bound} {figure.value:.4g} {figure.unit}".strip()


def compared_figures(
    before: Sequence[FiguresEntry],
    after: Sequence[FiguresEntry],
    channels: tuple[Sequence[str], Sequence[str]] = ((), ()),
    *,
    across_steps: bool = False,
) -> list[Change]:
    """Every figure of either run, changed or not: those of the first run in its order, then those that only the second
    run has.

    Figures of one step belong together. Of two sequences, whose steps are others (`across_steps`), the first figure of
    a kind belongs to the first one of that kind that was measured under the same conditions; bursts must then follow
    each other alike, too. With the `channels` of
    both amplifiers, to drive all of them is the same condition on both.
    """
    every = (*before, *after)
    whole = all(entry.conditions.is_whole for entry in every)
    limits = all(_has_limits(entry) for entry in every)
    sharing = [_Shared(frozenset(each), whole, limits, across_steps) for each in channels]
    old, new = (shared.places_of(entries) for shared, entries in zip(sharing, (before, after), strict=True))
    apart = [place for place in old if place not in new], [place for place in new if place not in old]
    moved = _moved(*apart) if across_steps else {}
    found = [Change(place, old[place], new.get(moved.get(place, place)), _step(moved.get(place))) for place in old]
    left = [place for place in new if place not in old and place not in moved.values()]
    return [*found, *(Change(place, None, new[place]) for place in left)]


def _moved(old: Sequence[Occasion], new: Sequence[Occasion]) -> dict[Occasion, Occasion]:
    """Places of the first run, and those of the second run that are alike but for the step; the first of each kind."""
    firsts = [{replace(place, step=""): place for place in reversed(places)} for places in (old, new)]
    return {place: firsts[1][kind] for kind, place in firsts[0].items() if kind in firsts[1]}


def _step(place: Occasion | None) -> str:
    return place.step if place else ""


def _has_limits(entry: FiguresEntry) -> bool:
    """Whether each level that a search found is on record with its distortion bound; older runs did not keep that."""
    each = (entry.conditions, *entry.captured.values())
    return all(one.thd_limit is not None for one in each if one.drive in {"clean", "full"})


@dataclass(frozen=True)
class _Shared:
    """What the figures of one run must share with those of the other: `whole` and `limits` say what both have kept of
    their conditions."""

    channels: frozenset[str]
    whole: bool
    limits: bool
    with_rhythm: bool

    def places_of(self, entries: Sequence[FiguresEntry]) -> dict[Occasion, Figure]:
        return {
            Occasion(entry.step, entry.analysis, self._conditions(entry, figure), identity(figure)): figure
            for entry in entries
            for figure in entry.figures
        }

    def _conditions(self, entry: FiguresEntry, figure: Figure) -> Conditions:
        """The conditions that must be equal in both runs; a searched level may differ.

        Where one of the runs did not keep all its conditions, load and frequency are used. Idle figures of such a run
        carry the frequency that the generator was set to at the time.
        """
        found = entry.conditions_of(figure)
        if not self.whole:
            return Conditions(found.load_ohm, None if entry.analysis == "idle" else found.frequency_hz)
        found = found if self.limits else replace(found, thd_limit=None)
        found = replace(found, driven=()) if self.channels and self.channels == set(found.driven) else found
        found = replace(found, bursts=_rhythm(entry, found)) if self.with_rhythm else found
        return found if found.drive in ("set", "undriven") else replace(found, level_v=None)


def _rhythm(entry: FiguresEntry, found: Conditions) -> str:
    """How often bursts came, and how loud it was between them, as the journal has it; nothing more of a steady tone."""
    if entry.context.get("every_s") is None:
        return found.bursts
    every, rest = entry.context["every_s"], entry.context.get("low_level_ratio")
    return ", ".join(filter(None, [found.bursts, f"bursts every {every} s, {rest} of the level between"]))


def _differ(before: Figure, after: Figure) -> bool:
    if before.bound or after.bound:
        bound, value = (before, after) if before.bound else (after, before)
        return _is_beyond(value, bound)
    uncertainty = u_of_difference(before, after)
    return abs(after.value - before.value) > uncertainty


def _is_beyond(value: Figure, bound: Figure) -> bool:
    uncertainty = value.expanded_uncertainty or 0.0
    if bound.bound == "at most":
        return value.value - uncertainty > bound.value
    return value.value + uncertainty < bound.value
