"""All that one run folder tells of its bench."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from benchctl.archive.collection.summary import RunSummary
from benchctl.archive.drift.calibrated import CalibratedValue, calibrated_values, overdue
from benchctl.archive.drift.equipment import Equipment
from benchctl.archive.drift.gains import load_draws, output_gains, supply_gains
from benchctl.archive.drift.standard import standard_values
from benchctl.archive.drift.value import Dated, Reference, ReferenceValue
from benchctl.archive.drift.zero_values import zero_values
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import entries_of
from benchctl.archive.journal.events import RUN_STARTED
from benchctl.archive.journal.journal import Event, read_as_far_as_whole
from benchctl.documents.reader import load_kept_bench
from benchctl.errors import ArchiveError, DocumentError, UsageError


@dataclass(frozen=True)
class OfRun:
    """What a run tells of its bench; `overdue`: what should have been calibrated again by its day. `why_not`: why it
    tells nothing."""

    run: str
    values: tuple[Dated, ...] = ()
    calibrated: tuple[CalibratedValue, ...] = ()
    overdue: tuple[str, ...] = ()
    why_not: str = ""


def read_run(summary: RunSummary, standard: str = "") -> OfRun:
    """The values of one run; with those of the check standard of this serial number, if it was on the bench."""
    if summary.began is None:
        return OfRun(summary.name, why_not="it is not on record when it was made")
    folder = RunFolder(summary.folder)
    try:
        journal, _ = read_as_far_as_whole(folder.journal)
        bench = load_kept_bench(folder.inputs / "bench.yaml")
        began = next((event for event in journal.events if event["event"] == RUN_STARTED), {})
        equipment = Equipment({str(k): str(v) for k, v in (began.get("instruments") or {}).items()}, bench)
        is_standard = bool(standard) and summary.serial == standard
        found = tuple(_values(folder, journal.events, summary, equipment, is_standard=is_standard))
    except (ArchiveError, DocumentError, UsageError) as error:
        return OfRun(summary.name, why_not=str(error).splitlines()[0])
    late = tuple(overdue(bench, summary.began.date()))
    return OfRun(summary.name, _dated(summary.began, summary.name, found), tuple(calibrated_values(bench)), late)


def _dated(began: datetime, run: str, found: Sequence[ReferenceValue]) -> tuple[Dated, ...]:
    """The first value of each reference: a run gives one point to a chart."""
    first: dict[Reference, ReferenceValue] = {}
    for value in found:
        first.setdefault(value.reference, value)
    return tuple(Dated(began, run, value) for value in first.values())


def _values(
    folder: RunFolder, events: tuple[Event, ...], summary: RunSummary, equipment: Equipment, *, is_standard: bool
) -> Iterator[ReferenceValue]:
    entries = entries_of(events)
    yield from supply_gains(entries, equipment)
    if is_standard:
        settings = next((event.get("settings") or {} for event in events if event["event"] == RUN_STARTED), {})
        yield from output_gains(entries, equipment)
        yield from load_draws(entries, equipment)
        yield from standard_values(entries, summary.sequence, settings, equipment)
    yield from zero_values(folder, events, equipment)
