"""The same figures of several runs: what each is in the first run, and its change to each other one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from benchctl.archive.changes import Change, Occasion, compared_figures
from benchctl.report.comparison.naming import Names, in_order, names_of
from benchctl.report.reading.run_record import RunRecord

CHANGED, UNCHANGED, INCONCLUSIVE = "significant", "not significant", "inconclusive"


@dataclass(frozen=True)
class Comparison:
    """Every figure of any run at its place. `is_alike`: all runs took the same steps on one unit, so that a figure that
    one of them lacks is a finding."""

    run_records: tuple[RunRecord, ...]
    rows: dict[Occasion, tuple[Change, ...]]
    names: Names
    is_alike: bool

    @property
    def others(self) -> tuple[RunRecord, ...]:
        """All runs but the first, which they are held against."""
        return self.run_records[1:]

    def significant(self) -> dict[Occasion, tuple[Change, ...]]:
        """The rows with a change to any of the other runs."""
        return {
            place: changes for place, changes in self.rows.items() if any(self.is_finding(each) for each in changes)
        }

    def is_finding(self, change: Change) -> bool:
        """Whether a change says something of the amplifier: not where the other run took other steps."""
        is_there = change.before is not None or change.after is not None
        return is_there and change.is_change and (self.is_alike or is_in_both(change))


def is_in_both(change: Change) -> bool:
    """Whether both runs have the figure."""
    return change.before is not None and change.after is not None


def compare(run_records: Sequence[RunRecord]) -> Comparison:
    """Hold every other run against the first one; runs of one unit in the order of time."""
    first, *others = in_order(run_records)
    each = [{change.place: change for change in _changes(first, other)} for other in others]
    places = dict.fromkeys(place for found in each for place in found)
    rows = {place: tuple(found.get(place, Change(place, None, None)) for found in each) for place in places}
    runs = (first, *others)
    is_alike = len({(*steps_of(run_record), run_record.unit) for run_record in runs}) == 1
    return Comparison(runs, rows, names_of(runs), is_alike)


def _changes(first: RunRecord, other: RunRecord) -> list[Change]:
    across = steps_of(first) != steps_of(other)
    return compared_figures(first.entries, other.entries, (_channels(first), _channels(other)), across_steps=across)


def steps_of(run_record: RunRecord) -> tuple[str, str]:
    """What tells which steps a run was to take: its sequence, and the parameters set."""
    text = run_record.sequence.source.text if run_record.sequence else ""
    return text, repr(run_record.began.get("settings") or {})


def _channels(run_record: RunRecord) -> tuple[str, ...]:
    return tuple(run_record.amplifier.channels) if run_record.amplifier else ()


def significance_of(change: Change) -> str:
    """In words; nothing where neither run has the figure."""
    if change.before is None and change.after is None:
        return ""
    if change.before is None or change.after is None:
        return "only in one run"
    if not change.is_told:
        return INCONCLUSIVE
    return CHANGED if change.is_change else UNCHANGED
