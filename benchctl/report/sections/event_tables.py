"""The journal in short: a row a step, and what happened besides."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

from benchctl.archive.journal.events import (
    BY_A_PERSON,
    CAPTURE,
    FIGURES,
    HANDS,
    INPUTS_ACCEPTED,
    INPUTS_KEPT,
    NOTE,
    RUN_ENDED,
    RUN_RESUMED,
    RUN_STARTED,
    SAFE_STATE,
    SEARCH,
    STEP_BEGINS_ANEW,
    STEP_FINISHED,
    STEP_STARTED,
    TRIP,
    WARNINGS_ACCEPTED,
)
from benchctl.archive.journal.journal import TORN_LINE
from benchctl.measure.conditions import UNDRIVEN, Conditions
from benchctl.quantity import clock_face, render
from benchctl.readable import printable
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.reading.step_history import StepTaken
from benchctl.report.sections.tables import Cell, Table, heads

# These have tables of their own, or come so often that the journal is the place for them.
_ELSEWHERE = frozenset(
    {STEP_STARTED, STEP_FINISHED, FIGURES, CAPTURE, SEARCH, HANDS, TRIP, WARNINGS_ACCEPTED, INPUTS_KEPT}
)
_MOST_EVENTS = 200
# As far as the number, time and kind of an event go; behind them there may be a document that names its owner.
_MOST_OF_A_TORN_LINE = 60


def steps_table(run_record: RunRecord) -> Table | None:
    """Every step that was begun, when, and its result."""
    figures = Counter[str]()
    for entry in run_record.entries:
        figures[entry.step] += len(entry.figures)
    rows = tuple(
        _step_row(number, step, figures[step.label], run_record.usual)
        for number, step in enumerate(run_record.steps, start=1)
    )
    columns = heads("no.", "step", numbers=["began", "took"]) + heads("result", "conditions at its start")
    return Table("Steps", columns, rows, named=2).without_empty_columns() if rows else None


def _step_row(number: int, step: StepTaken, figures: int, usual: Conditions) -> tuple[Cell, ...]:
    took = "" if step.finished_s is None else render(step.finished_s - step.started_s, "s", digits=3)
    return (
        Cell(str(number)),
        Cell(step.label),
        Cell(clock_face(step.started_s), "number"),
        Cell(took, "number"),
        _result(step, figures),
        Cell(str(step.conditions.without(usual).without(UNDRIVEN))),
    )


def _result(step: StepTaken, figures: int) -> Cell:
    if step.left_out:
        return Cell(f"left out: {step.left_out}")
    if step.given_up:
        return Cell(f"given up, and started again: {step.given_up} lost power", "untold")
    if step.unmeasured:
        return Cell(f"lacks figures: {step.unmeasured}", "untold")
    if step.finished_s is None:
        return Cell("its end is not in the journal", "untold")
    return Cell(f"{figures} figures" if figures else "")


def events_table(run_record: RunRecord) -> Table | None:
    """What else the journal tells, in its words."""
    told = [event for event in run_record.events if not _is_elsewhere(event)]
    rows = tuple(
        (
            Cell(str(event["number"]), "number"),
            Cell(clock_face(float(event["time_s"])), "number"),
            Cell(str(event["event"])),
            Cell(_in_words(event)),
        )
        for event in told[:_MOST_EVENTS]
    )
    left_out = len(told) - len(rows)
    note = f"The first {len(rows)}; journal.jsonl has {left_out} more." if left_out else ""
    columns = heads(numbers=["event", "at"]) + heads("kind", "in words")
    return Table("Events", columns, rows, note=note) if rows else None


def _is_elsewhere(event: Mapping[str, Any]) -> bool:
    """What a person wrote has a part of the page of its own."""
    return event["event"] in _ELSEWHERE or event.get("written_by") == BY_A_PERSON


# Of these, one field says it all.
_TELLING = {
    INPUTS_ACCEPTED: "reason",
    NOTE: "text",
    RUN_ENDED: "reason",
    RUN_RESUMED: "step",
    STEP_BEGINS_ANEW: "step",
}


def _in_words(event: Mapping[str, Any]) -> str:
    kind = str(event["event"])
    if kind == TORN_LINE:
        return printable(str(event.get("torn", "")), longest=_MOST_OF_A_TORN_LINE)
    if kind in _TELLING:
        return str(event.get(_TELLING[kind], ""))
    if kind == RUN_STARTED:
        return "dry" if event.get("dry_run") else ""
    if kind == SAFE_STATE:
        return "; ".join(_confirmations(event))
    own = ("number", "time_s", "wall", "event")
    return ", ".join(f"{name}: {_value(value)}" for name, value in event.items() if name not in own)


def _value(value: object) -> str:
    if isinstance(value, list):
        return "; ".join(map(_value, value))
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def _confirmations(event: Mapping[str, Any]) -> Iterator[str]:
    yield str(event.get("state", ""))
    for part in event.get("instruments", ()):
        confirmed = "confirmed" if part.get("confirmed") else f"NOT CONFIRMED ({part.get('detail', '')})"
        yield f"{part.get('instrument', '')} {part.get('part', '')} {confirmed}"


def run_dates(run_record: RunRecord) -> Iterator[tuple[str, str]]:
    """When the parts of a run began and ended, by the clock on the wall."""
    for event in run_record.events:
        if event["event"] in (RUN_STARTED, RUN_RESUMED, RUN_ENDED):
            yield str(event["event"]), f"{str(event['wall'])[:19].replace('T', ' ')} UTC"
