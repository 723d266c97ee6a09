"""What the runs of a comparison are called: before and after, by their units, by the position of a control, or by date.

`before` and `after` are said only of one unit that its serial number proves to be the same.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from benchctl.archive.journal.entries import positions_of
from benchctl.archive.journal.events import HANDS
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.page_head import date_of

_STAMP = re.compile(r"\d{8}-\d{6}(?=-)")


@dataclass(frozen=True)
class Names:
    """The name of each run; `what` is compared; `are_times` where a name says when (before, after); `note` says what is
    not known of it."""

    each: tuple[str, ...]
    what: str
    are_times: bool = False
    note: str = ""

    def said(self, number: int, value: str) -> str:
        """A value of one of the runs: 132 W before; HX 2150: 132 W."""
        return f"{value} {self.each[number]}" if self.are_times else f"{self.each[number]} {value}"


def in_order(run_records: Sequence[RunRecord]) -> list[RunRecord]:
    """Runs of one unit in the order of time; others as they were given."""
    starts = [started_at(run_record) for run_record in run_records]
    if not _is_one_unit(run_records) or not all(starts):
        return list(run_records)
    return [run_record for _, run_record in sorted(zip(starts, run_records, strict=True), key=lambda pair: pair[0])]


def started_at(run_record: RunRecord) -> str:
    """When a run began, as text that sorts by time; empty where that is not known."""
    stamp = _STAMP.match(run_record.name)
    if stamp:
        return stamp[0]
    date = date_of(run_record)
    return date if date[:1].isdigit() else ""


def names_of(run_records: Sequence[RunRecord]) -> Names:
    """What to call runs that are in order."""
    if not _is_one_unit(run_records):
        return Names(_apart([_unit(run_record, run_records) for run_record in run_records], run_records), "units")
    if (positions := _positions(run_records)) is not None:
        return Names(_apart(positions, run_records), "positions of a control")
    if len(run_records) != 2 or len({started_at(run_record) for run_record in run_records} - {""}) != 2:
        return Names(_apart([f"run of {date_of(run_record)}" for run_record in run_records], run_records), "runs")
    if run_records[0].amplifier is not None and run_records[0].amplifier.serial:
        return Names(("before", "after"), "before and after", are_times=True)
    note = (
        "No serial number is on record, so whether both runs are of one unit is not known. "
        "`serial` in the amplifier file tells."
    )
    return Names(("in the earlier run", "in the later run"), "two runs", are_times=True, note=note)


def _is_one_unit(run_records: Sequence[RunRecord]) -> bool:
    return len({run_record.unit for run_record in run_records}) == 1


def _unit(run_record: RunRecord, run_records: Sequence[RunRecord]) -> str:
    """The amplifier's title, or what tells it from one of the same title."""
    amplifier = run_record.amplifier
    if amplifier is None:
        return run_record.name
    titles = {each.amplifier.title for each in run_records if each.amplifier is not None}
    if len(titles) > 1:
        return amplifier.title
    return f"serial {amplifier.serial}" if amplifier.serial else "no serial number"


def _positions(run_records: Sequence[RunRecord]) -> list[str] | None:
    """How the filters stood, where that is on record and differs from run to run."""
    asked = [positions_of(run_record.of_kind(HANDS)) for run_record in run_records]
    filters = [name for name in asked[0] if "filter" in name]
    for name in filters:
        answers = [positions.get(name, "") for positions in asked]
        if all(answers) and len(set(answers)) == len(answers):
            return [f"{name}: {answer}" for answer in answers]
    return None


def _apart(names: Sequence[str], run_records: Sequence[RunRecord]) -> tuple[str, ...]:
    """Names that are all different: with the date where two are the same, with a number where that does not help."""
    dated = [
        f"{name}, {date_of(run_record)}" if Counter(names)[name] > 1 and date_of(run_record) not in name else name
        for name, run_record in zip(names, run_records, strict=True)
    ]
    return tuple(f"{name} ({number})" if Counter(dated)[name] > 1 else name for number, name in enumerate(dated, 1))
