"""All runs of one unit in the order of time, each with the earlier run that it can be held against."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from benchctl.archive.collection.summary import RunSummary
from benchctl.errors import ArchiveError, UsageError, quote
from benchctl.report.comparison.compared import Comparison, compare, steps_of
from benchctl.report.reading.run_outcome import run_outcome_of
from benchctl.report.reading.run_record import RunRecord, read_run_record

_NO_SERIAL = "Write it into the amplifier file before a run: `serial: 17-0042`. A run that has none belongs to no unit."
_MOST_NAMED = 8


@dataclass(frozen=True)
class RunOfUnit:
    """`since`: this run against the latest earlier one that took the same steps, to its end if there is one that came
    to its end; None where there is none."""

    began: datetime
    run_record: RunRecord
    since: Comparison | None


@dataclass(frozen=True)
class UnitLife:
    """`together`: every run against the first, for figures over time. `left_out`: sentences on runs that do not
    count; `has_simulated`: whether simulated runs are among those that do."""

    serial: str
    runs: tuple[RunOfUnit, ...]
    together: Comparison
    left_out: tuple[str, ...]
    has_simulated: bool

    @property
    def title(self) -> str:
        """The amplifier by its newest run."""
        return self.runs[-1].run_record.unit


def unit_life(summaries: Sequence[RunSummary], serial: str, *, with_simulated: bool = False) -> UnitLife:
    """The life of the unit with this serial number.

    Raises:
        UsageError: it has no run there, or none that counts.
    """
    own = [each for each in summaries if each.serial == serial] if serial else []
    if not own:
        raise UsageError(f"no run there is of a unit with the serial number {quote(serial)}", advice=_known(summaries))
    counting = [each for each in own if with_simulated or each.is_simulated is False]
    if not counting:
        raise UsageError(
            f"every run of serial {quote(serial)} is simulated, or does not say whether it is",
            advice="Add --with-simulated to take them in; the page then says so.",
        )
    undated = [each.name for each in counting if each.began is None]
    runs, damaged = _read(sorted(_dated(counting), key=lambda pair: (pair[0], pair[1].name)))
    if not runs:
        raise UsageError(f"no run of serial {quote(serial)} can be put in order: {'; '.join([*undated, *damaged])}")
    return UnitLife(
        serial=serial,
        runs=tuple(runs),
        together=compare([each.run_record for each in runs]),
        left_out=tuple(_left_out(len(own) - len(counting), undated, damaged)),
        has_simulated=any(each.is_simulated is not False for each in counting),
    )


def _dated(summaries: Sequence[RunSummary]) -> Iterator[tuple[datetime, RunSummary]]:
    for each in summaries:
        if each.began is not None:
            yield each.began, each


def _read(ordered: Sequence[tuple[datetime, RunSummary]]) -> tuple[list[RunOfUnit], list[str]]:
    runs: list[RunOfUnit] = []
    damaged: list[str] = []
    latest: dict[object, RunRecord] = {}
    for began, summary in ordered:
        try:
            run_record = read_run_record(summary.folder)
        except (ArchiveError, UsageError) as error:
            damaged.append(f"{summary.name}: {error.message}")
            continue
        before = latest.get(steps_of(run_record))
        runs.append(RunOfUnit(began, run_record, compare([before, run_record]) if before is not None else None))
        if run_outcome_of(run_record).is_finished or before is None:
            latest[steps_of(run_record)] = run_record
    return runs, damaged


def _left_out(simulated: int, undated: Sequence[str], damaged: Sequence[str]) -> Iterator[str]:
    if simulated:
        yield f"{simulated} simulated run{'s' if simulated > 1 else ''}; --with-simulated takes them in"
    yield from (f"{name}: it is not on record when it was made" for name in undated)
    yield from damaged


def _known(summaries: Sequence[RunSummary]) -> str:
    """Which units there are, and how many runs say none."""
    serials = Counter(each.serial for each in summaries if each.serial)
    without = [each for each in summaries if not each.serial]
    known = [f"{serial} ({count} run{'s' if count > 1 else ''})" for serial, count in serials.most_common(_MOST_NAMED)]
    there = f"There are: {', '.join(known)}. " if known else ""
    named = sorted({each.amplifier for each in without if each.amplifier})[:_MOST_NAMED]
    count = f"{len(without)} run{' says' if len(without) == 1 else 's say'}"
    nameless = f"{count} no serial number ({', '.join(named)}). " if without else ""
    return f"{there}{nameless}{_NO_SERIAL}"
