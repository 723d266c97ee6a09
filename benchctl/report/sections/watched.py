"""What was watched during the run and what became of it: limits, trips, the amplifier's own protection."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import pandas as pd

from benchctl.archive.journal.entries import FiguresEntry
from benchctl.archive.journal.events import HANDS, TRIP
from benchctl.archive.tables.trend import trend_column
from benchctl.guard.limits import WatchedLimit, limits_of
from benchctl.measure.budget.words import unit_in_words, value_in_words
from benchctl.quantity import clock_face, render
from benchctl.report.reading.run_record import Story
from benchctl.report.sections.tables import Cell, Table, heads


def limits_table(story: Story) -> Table | None:
    """Every limit with the extremes that the guard read; None where a document is missing."""
    if story.sequence is None or story.bench is None or story.amplifier is None:
        return None
    limits = limits_of(story.sequence, story.bench, story.amplifier)
    tripped = {str(trip.get("limit")) for trip in story.of_kind(TRIP)}
    return Table(
        "Limits watched from the first step to the last",
        heads("signal", "limit", "set by", numbers=["lowest read", "highest read"]) + heads("tripped"),
        tuple(_limit_row(limit, story.trend, limit.signal in tripped) for limit in limits),
    )


def _limit_row(limit: WatchedLimit, trend: pd.DataFrame | None, has_tripped: bool) -> tuple[Cell, ...]:
    lowest, highest = _extremes(limit, trend)
    tripped = Cell("tripped", "fails") if has_tripped else Cell("no")
    return (
        Cell(limit.signal, "code"),
        Cell(str(limit.bound)),
        Cell(f"{limit.origin} file"),
        Cell(lowest, "number"),
        Cell(highest, "number"),
        tripped,
    )


def _extremes(limit: WatchedLimit, trend: pd.DataFrame | None) -> tuple[str, str]:
    """Of what the trend has of the signal; while the supply is off, too."""
    column = trend_column(limit.signal)
    if trend is None or column not in trend.columns or not trend[column].notna().any():
        return "not in the trend", ""
    return render(float(trend[column].min()), limit.bound.unit), render(float(trend[column].max()), limit.bound.unit)


def trips_table(story: Story) -> Table | None:
    """Every trip: which limit, at which value, when."""
    trips = story.of_kind(TRIP)
    if not trips:
        return None
    rows = tuple(_trip_row(trip) for trip in trips)
    return Table("Trips", heads("at", "limit", "value", "in words"), rows, named=2)


def _trip_row(trip: Mapping[str, Any]) -> tuple[Cell, ...]:
    value, unit = trip.get("value"), str(trip.get("unit", ""))
    shown = "could not be read" if value is None else render(float(value), unit)
    return (
        Cell(clock_face(float(trip.get("at_s", trip["time_s"])))),
        Cell(str(trip.get("limit", "")), "code"),
        Cell(shown, "fails"),
        Cell(str(trip.get("reason", ""))),
    )


_PROTECTION = {"protection": "fell silent by itself", "fold_back": "turned itself down"}


def protection_table(story: Story) -> Table | None:
    """When the amplifier protected itself, and under what."""
    rows = tuple(
        (
            Cell(clock_face(entry.time_s)),
            Cell(entry.step),
            Cell(_PROTECTION[entry.analysis], "untold"),
            Cell("; ".join(_in_words(entry))),
            Cell(str(entry.conditions.without(story.usual))),
        )
        for entry in story.entries
        if entry.analysis in _PROTECTION
    )
    columns = heads("at", "step", "it", "under", "conditions")
    table = Table("The amplifier protected itself", columns, rows, named=2)
    return table.without_empty_columns() if rows else None


def _in_words(entry: FiguresEntry) -> Iterator[str]:
    for figure in entry.figures:
        name = figure.name.removeprefix("protection_").removeprefix("fold_back_").replace("_", " ")
        channel = f" {figure.channel}" if figure.channel else ""
        yield f"{name}{channel} {value_in_words(figure)} {unit_in_words(figure)}".rstrip()


def controls_table(story: Story) -> Table | None:
    """What a person was asked to set, and what is on record of it."""
    rows = tuple(
        (
            Cell(clock_face(float(event["time_s"]))),
            Cell(str(event.get("request", ""))),
            Cell(str(name)),
            Cell(str(answer)),
        )
        for event in story.of_kind(HANDS)
        for name, answer in (event.get("answers") or {"": ""}).items()
    )
    table = Table("Asked of a person, and what is on record", heads("at", "asked", "of", "answer"), rows)
    return table.without_empty_columns() if rows else None
