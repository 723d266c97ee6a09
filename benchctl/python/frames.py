"""What a run folder tells, as pandas frames. `frame.attrs["units"]` maps each column to the unit of its numbers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict

import pandas as pd

from benchctl.archive.journal.entries import FiguresEntry, conditions_of
from benchctl.archive.journal.journal import Event
from benchctl.archive.tables.figures import figure_table
from benchctl.archive.tables.figures_csv import UNITS
from benchctl.archive.tables.run_identity import RunIdentity
from benchctl.archive.tables.trend import signal_and_unit
from benchctl.measure.conditions import NOT_ON_RECORD

_OF_CONDITIONS = tuple(asdict(NOT_ON_RECORD))
_CONDITIONS = ("time_s", "event", "step", "capture", *_OF_CONDITIONS)


def figures_frame(entries: Sequence[FiguresEntry], identity: RunIdentity) -> pd.DataFrame:
    """A row for each figure, with the columns of figures.csv; the unit of a value stands beside it in `unit`.

    `simulated` is true or false, and NA where that is not on record."""
    frame = figure_table(entries, identity)
    frame["simulated"] = pd.array([identity.simulated] * len(frame), dtype="boolean")
    frame.attrs["units"] = dict(UNITS)
    return frame


def trend_frame(trend: pd.DataFrame | None) -> pd.DataFrame:
    """A row for each time at which the guard read; a reading that failed is NaN. Empty where there is no trend."""
    frame = pd.DataFrame({"time_s": pd.Series(dtype="float64")}) if trend is None else trend.copy()
    frame.attrs["units"] = {column: signal_and_unit(column)[1] for column in frame.columns}
    return frame


def conditions_frame(events: Sequence[Event]) -> pd.DataFrame:
    """A row for each event that tells what the bench was set to."""
    frame = pd.DataFrame(list(_conditions(events)), columns=list(_CONDITIONS))
    numbers = {column: "float64" for column in _CONDITIONS if column in UNITS}
    frame = frame.astype(numbers)
    frame.attrs["units"] = {column: unit for column, unit in UNITS.items() if column in _CONDITIONS}
    return frame


def _conditions(events: Sequence[Event]) -> Iterator[dict[str, object]]:
    for event in events:
        if event.get("conditions"):
            set_to = conditions_of(event)
            yield {
                "time_s": event["time_s"],
                "event": event["event"],
                "step": event.get("step", ""),
                "capture": event.get("file", ""),
                **asdict(set_to),
                "driven": " ".join(set_to.driven),
            }
