"""The figures of one run as they are written, each beside what the analysis of today makes of the same records."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from benchctl.archive.compare import identity, unlike
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import FiguresEntry, as_stored, context_of, parts_of, with_contradictions
from benchctl.archive.journal.journal import Event
from benchctl.archive.recomputing import NOT_COMPUTED, Captures, compute
from benchctl.archive.verdicts import NamedFigures, note_named, verdict_again
from benchctl.measure.agreement.compared import comparisons
from benchctl.measure.agreement.comparison import Comparison
from benchctl.measure.budget.figure import Figure
from benchctl.measure.method import METHOD, changes_since
from benchctl.measure.signal.record import Capture

_Identity = tuple[str, str, int | None, float | None, float | None]

# Parts of a figure that say what was measured; its captures and the words about a bound do not.
_MEASURED = ("value", "expanded_uncertainty", "coverage_factor", "unit", "bound")
NEW, NOT_COMPUTED_ANY_MORE = "new", "not computed"
UNEXPLAINED = "no change of the method is on record for it: benchctl verify says whether a folder was altered"


@dataclass(frozen=True)
class Compared:
    """One figure of an entry: `before` as it is written, `now` as it comes out today. One of them may be missing;
    `reason` says why there is no `now`."""

    entry: FiguresEntry
    before: Figure | None
    now: Figure | None
    reason: str = ""

    @property
    def figure(self) -> Figure:
        """What there is of it, of today if possible."""
        found = self.now or self.before
        assert found is not None
        return found

    @property
    def changes(self) -> tuple[str, ...]:
        """The parts that differ beyond rounding, and `contradiction` and `verdict` where they turned; `new` or `not
        computed` where one is missing."""
        if self.now is None:
            return (NOT_COMPUTED_ANY_MORE,)
        if self.before is None:
            return (NEW,)
        parts = [part for part in unlike(self.before, self.now) if part in _MEASURED]
        if self._contradiction_turned:
            parts.append("contradiction")
        return (*parts, *(["verdict"] if self.verdict_turned else []))

    @property
    def verdict_turned(self) -> bool:
        """Whether a verdict was written, and is another one today."""
        return self.before is not None and self.now is not None and self.now.verdict != self.before.verdict

    @property
    def difference(self) -> float | None:
        """By how much the value is larger today."""
        return None if self.before is None or self.now is None else self.now.value - self.before.value

    @property
    def difference_in_u(self) -> float | None:
        """The same in the expanded uncertainty that is written; None where only a bound was known."""
        if self.difference is None or self.before is None or not self.before.expanded_uncertainty:
            return None
        return self.difference / self.before.expanded_uncertainty

    @property
    def why(self) -> str:
        """What changed in the method, as far as it concerns this figure; or why it cannot be computed."""
        if self.reason or not self.changes:
            return self.reason
        changes = changes_since(self.entry.method, {self.figure.name})
        known = [f"method {number}: {change.says}" for number, change in changes]
        if self._contradiction_turned and self.figure.contradiction:
            known.append(f"instruments contradict each other: {self.figure.contradiction}")
        return "; ".join(known) or UNEXPLAINED

    @property
    def _contradiction_turned(self) -> bool:
        """Whether instruments contradict each other today, and did not then, or the other way round."""
        if self.before is None or self.now is None:
            return False
        return bool(self.now.contradiction) != bool(self.before.contradiction)


def computed_again(folder: RunFolder, events: Sequence[Event]) -> list[Compared]:
    """Every figure of a run, in the order of its table, with those that only today's analysis gives behind those of
    their step."""
    parts = parts_of(events)
    written = with_contradictions(parts)
    attempts = [[_attempt(folder, entry) for entry in part] for part in parts]
    fresh = _judged(with_contradictions([attempt.entry for attempt in part] for part in attempts))
    flat = (attempt for part in attempts for attempt in part)
    return [
        compared
        for before, now, attempt in zip(written, fresh, flat, strict=True)
        for compared in _side_by_side(before, now, attempt.reasons)
    ]


@dataclass(frozen=True)
class _Attempt:
    """An entry with the figures of today, and why figures of the written one are missing in it."""

    entry: FiguresEntry
    reasons: Mapping[_Identity, str] = field(default_factory=dict)


def _attempt(folder: RunFolder, entry: FiguresEntry) -> _Attempt:
    captures = Captures.load(folder, entry)
    lost = {identity(each): reason for each in entry.figures if (reason := _lost(each, captures))}
    compared = entry.comparisons if captures.missing or captures.broken else _compared(entry, captures.by_role)
    if entry.figures and len(lost) == len({identity(each) for each in entry.figures}):
        return _Attempt(replace(entry, figures=[], method=METHOD), lost)
    try:
        computed = [as_stored(figure) for figure in compute(entry, captures.by_role)]
    except NOT_COMPUTED as error:
        failed = {identity(figure): f"cannot be computed: {error}" for figure in entry.figures}
        return _Attempt(replace(entry, figures=[], method=METHOD), {**failed, **lost})
    found = [figure for figure in computed if identity(figure) not in lost]
    return _Attempt(replace(entry, figures=found, comparisons=compared, method=METHOD), lost)


def _lost(figure: Figure, captures: Captures) -> str:
    """Why a record of the figure cannot be read; '' where all can."""
    unreadable = captures.missing | captures.broken
    return next((unreadable[file] for file in figure.capture.split() if file in unreadable), "")


def _compared(entry: FiguresEntry, captures: Mapping[str, Capture]) -> Sequence[Comparison] | None:
    try:
        return comparisons(entry.analysis, captures, entry.named_readings(), context_of(entry))
    except NOT_COMPUTED:  # its figures then say why they cannot be computed
        return entry.comparisons


def _judged(entries: Iterable[FiguresEntry]) -> list[FiguresEntry]:
    """The entries with their verdicts, as a run gives them: each knows the figures before it."""
    named: NamedFigures = {}
    judged = []
    for entry in entries:
        figures = [replace(figure, verdict=verdict_again(figure, entry, named)) for figure in entry.figures]
        judged.append(replace(entry, figures=figures))
        note_named(judged[-1], named)
    return judged


def _side_by_side(before: FiguresEntry, now: FiguresEntry, reasons: Mapping[_Identity, str]) -> Iterator[Compared]:
    fresh: dict[_Identity, list[Figure]] = defaultdict(list)
    for figure in now.figures:
        fresh[identity(figure)].append(figure)
    for figure in before.figures:
        if twins := fresh[identity(figure)]:
            yield Compared(before, figure, _with_kept_verdict(twins.pop(0), figure, before))
        else:
            reason = reasons.get(identity(figure), "the analysis of today gives no such figure")
            yield Compared(before, figure, None, reason)
    for figure in (figure for twins in fresh.values() for figure in twins):
        yield Compared(before, None, figure)


def _with_kept_verdict(figure: Figure, before: Figure, entry: FiguresEntry) -> Figure:
    """In a folder that was made before criteria were kept nobody can judge again: its verdict stands."""
    return replace(figure, verdict=before.verdict) if entry.criteria is None else figure
