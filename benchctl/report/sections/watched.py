"""What was watched during the run and what became of it: limits, trips, the amplifier's own protection."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from benchctl.archive.journal.entries import FiguresEntry
from benchctl.archive.journal.events import HANDS, TRIP
from benchctl.archive.tables.trend import trend_column
from benchctl.documents.bench_file.sight import probes_are_moved, seen_outputs, unseen_outputs
from benchctl.documents.text.words import outputs_in_words
from benchctl.guard.limits import WatchedLimit, limits_of, unwatched_limits_of
from benchctl.quantity import clock_face
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.tables import Cell, Table, heads
from benchctl.report.words.quantities import in_signs, shown, with_uncertainty


def limits_table(run_record: RunRecord) -> Table | None:
    """Every limit with the extremes that the guard read; None where a document is missing."""
    if run_record.sequence is None or run_record.bench is None or run_record.amplifier is None:
        return None
    limits = limits_of(run_record.sequence, run_record.bench, run_record.amplifier)
    not_watched = unwatched_limits_of(run_record.sequence, run_record.bench, run_record.amplifier)
    tripped = {str(trip.get("limit")) for trip in run_record.of_kind(TRIP)}
    return Table(
        "Limits watched from the first step to the last",
        heads("signal", "limit", "set by", numbers=["lowest read", "highest read"]) + heads("tripped"),
        (
            *(_limit_row(limit, run_record, limit.signal in tripped) for limit in limits),
            *map(_unwatched_row, not_watched),
        ),
    )


def _unwatched_row(limit: WatchedLimit) -> tuple[Cell, ...]:
    cells = (Cell(_signal(limit), name=limit.signal), Cell(in_signs(str(limit.bound))), Cell(f"{limit.origin} file"))
    return (*cells, Cell("not watched", "number"), Cell("", "number"), Cell("could not trip", "untold"))


def _signal(limit: WatchedLimit) -> str:
    return limit.signal.replace("_", " ")


def _limit_row(limit: WatchedLimit, run_record: RunRecord, has_tripped: bool) -> tuple[Cell, ...]:
    lowest, highest = _extremes(limit, run_record.trend)
    tripped = Cell("tripped", "fails") if has_tripped else Cell("no")
    return (
        Cell(_signal(limit), name=limit.signal),
        Cell(in_signs(f"{limit.bound}{_where(limit, run_record)}")),
        Cell(f"{limit.origin} file"),
        Cell(lowest, "number"),
        Cell(highest, "number"),
        tripped,
    )


def _where(limit: WatchedLimit, run_record: RunRecord) -> str:
    """Of dc at the outputs, which of them were seen, where that was not all of them at once."""
    bench, amplifier = run_record.bench, run_record.amplifier
    if limit.signal != "output_offset" or bench is None or amplifier is None:
        return ""
    seen = outputs_in_words(seen_outputs(bench, amplifier))
    if probes_are_moved(bench, amplifier):
        return f", at the one of {seen} that the probe was on"
    return f", at {seen} alone" if unseen_outputs(bench, amplifier) else ""


def _extremes(limit: WatchedLimit, trend: pd.DataFrame | None) -> tuple[str, str]:
    """Of what the trend has of the signal; while the supply is off, too."""
    column = trend_column(limit.signal)
    if trend is None or column not in trend.columns or not trend[column].notna().any():
        return "not in the trend", ""
    return shown(float(trend[column].min()), limit.bound.unit), shown(float(trend[column].max()), limit.bound.unit)


def trips_table(run_record: RunRecord) -> Table | None:
    """Every trip: which limit, at which value, when."""
    trips = run_record.of_kind(TRIP)
    if not trips:
        return None
    rows = tuple(_trip_row(trip) for trip in trips)
    return Table("Trips", heads("at", "limit", "value", "in words"), rows, named=2)


def _trip_row(trip: Mapping[str, Any]) -> tuple[Cell, ...]:
    value, unit = trip.get("value"), str(trip.get("unit", ""))
    read = "could not be read" if value is None else shown(float(value), unit)
    return (
        Cell(clock_face(float(trip.get("at_s", trip["time_s"])))),
        Cell(str(trip.get("limit", "")).replace("_", " ")),
        Cell(read, "fails"),
        Cell(str(trip.get("reason", ""))),
    )


_PROTECTION = {"protection": "fell silent by itself", "fold_back": "turned itself down"}


def protection_table(run_record: RunRecord) -> Table | None:
    """When the amplifier protected itself, and under what."""
    rows = tuple(
        (
            Cell(clock_face(entry.time_s)),
            Cell(entry.step),
            Cell(_PROTECTION[entry.analysis], "untold"),
            Cell("; ".join(_in_words(entry))),
            Cell(str(entry.conditions.without(run_record.usual))),
        )
        for entry in run_record.entries
        if entry.analysis in _PROTECTION
    )
    columns = heads("at", "step", "what happened", "measured then", "conditions")
    table = Table("The amplifier protected itself", columns, rows, named=2)
    return table.without_empty_columns() if rows else None


def _in_words(entry: FiguresEntry) -> Iterator[str]:
    for figure in entry.figures:
        name = figure.name.removeprefix("protection_").removeprefix("fold_back_").replace("_", " ")
        channel = f" {figure.channel}" if figure.channel else ""
        yield f"{name}{channel} {with_uncertainty(figure)}"


def controls_table(run_record: RunRecord) -> Table | None:
    """What a person was asked to set, and what is on record of it."""
    rows = tuple(
        (
            Cell(clock_face(float(event["time_s"]))),
            Cell(str(event.get("request", ""))),
            Cell(str(name)),
            Cell(str(answer)),
        )
        for event in run_record.of_kind(HANDS)
        for name, answer in (event.get("answers") or {"": ""}).items()
    )
    table = Table("Asked of a person, and what is on record", heads("at", "asked", "of", "answer"), rows)
    return table.without_empty_columns() if rows else None
