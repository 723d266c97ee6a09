"""The tables that are exported: runs, figures and trend of several runs, each row with the run that it is of."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from benchctl.archive.tables.figures_csv import TABLE, rows_of
from benchctl.archive.tables.run_identity import RunIdentity, run_identity_of
from benchctl.archive.tables.trend import signal_and_unit
from benchctl.measure.budget.figure import Figure
from benchctl.report.reading.run_outcome import run_outcome_of
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.page_head import date_of
from benchctl.report.sections.people import people_facts
from benchctl.report.sections.verdicts import overall_of, requirement_in_words

TRUE_OR_FALSE = "bool"


@dataclass(frozen=True)
class Column:
    """A column: `str`, `float64`, `Int64` or `bool`; what its cells mean; and the unit of its numbers, if they share
    one."""

    name: str
    kind: str
    meaning: str
    unit: str = ""


@dataclass(frozen=True)
class Table:
    """A table; a cell is None where it does not apply or is not known."""

    name: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[object, ...], ...]


FOLDER = Column("folder", "str", "name of the run folder; it joins the tables")
_SIMULATED = Column(
    "simulated",
    TRUE_OR_FALSE,
    "whether an instrument of the run was simulated, so that this is no measurement; empty: that is not on record",
)
_REQUIRED = Column("required", "str", "what the figure had to be; empty where nothing was required")
_OF_FIGURES = (
    FOLDER,
    *(
        _SIMULATED if name == "simulated" else Column(name, column.kind, column.meaning, column.unit)
        for name, column in TABLE.items()
    ),
    _REQUIRED,
)
_OF_TREND = (
    FOLDER,
    Column("run", "str", TABLE["run"].meaning),
    _SIMULATED,
    Column("time_s", "float64", "when, from the beginning of the run", "s"),
    Column("signal", "str", "what the guard has read"),
    Column("value", "float64", "in the unit beside it; empty where the reading failed"),
    Column("unit", "str", "V, A or degC"),
)
_OF_RUNS = (
    FOLDER,
    Column("run", "str", TABLE["run"].meaning),
    Column("sequence", "str", "title of the sequence"),
    Column("bench", "str", "title of the bench file"),
    Column("amplifier", "str", TABLE["amplifier"].meaning),
    Column("serial", "str", TABLE["serial"].meaning),
    Column("date", "str", "when the folder was made"),
    _SIMULATED,
    Column("simulated_instruments", "str", "which instruments were simulated"),
    Column("replayed", TRUE_OR_FALSE, "whether all answers of the instruments came from a recording"),
    Column(
        "ending",
        "str",
        "`finished`, `limit`, `operator`, `requirement`, `failure`, `killed` or `running`",
    ),
    Column("ended", "str", "how the run ended, in words"),
    Column("exit_code", "Int64", "of the command; empty of a run that did not come to its own end"),
    Column("safe", TRUE_OR_FALSE, "whether every instrument confirmed at the end that its output is off"),
    Column("verdict", "str", "of the whole run: `Passes`, `Fails`, `Inconclusive` or `No verdict`"),
    Column("why", "str", "what that verdict follows from"),
    Column("duration_s", "float64", "from the beginning to the last event", "s"),
    Column("cannot_be_read", "str", "what is missing or broken in the folder"),
    Column("changed", "str", "what was changed in the folder after the run wrote it"),
)
_PUBLIC = {"Complaint": "complaint", "Workshop": "workshop", "Tested by": "tested_by"}
_PRIVATE = {
    "Owner": "owner",
    "Contact": "contact",
    "Owner's reference": "reference",
    "Workshop's contact": "workshop_contact",
}
_SAID_OF_PEOPLE = {
    "complaint": "what the owner complains of",
    "workshop": "name of the workshop",
    "tested_by": "who tested",
    "owner": "who owns the unit",
    "contact": "how to reach the owner",
    "reference": "the owner's own reference",
    "workshop_contact": "how to reach the workshop",
}


def runs_table(run_records: Sequence[RunRecord], *, with_owner: bool) -> Table:
    """A row for each run: which it is, how it ended and what its figures rest on. Owners are named only on request."""
    people = {**_PUBLIC, **_PRIVATE} if with_owner else _PUBLIC
    columns = (*_OF_RUNS, *(Column(name, "str", _SAID_OF_PEOPLE[name]) for name in people.values()))
    rows = (_run(run_record) | _people(run_record, people, with_owner=with_owner) for run_record in run_records)
    return _table("runs", columns, rows)


def figures_table(run_records: Sequence[RunRecord]) -> Table:
    """A row for each figure of each run, with the columns of figures.csv and what was required."""
    return _table("figures", _OF_FIGURES, (row for run_record in run_records for row in _figures(run_record)))


def trend_table(run_records: Sequence[RunRecord]) -> Table:
    """A row for each reading of the guard."""
    return _table("trend", _OF_TREND, (row for run_record in run_records for row in _trend(run_record)))


def _table(name: str, columns: Sequence[Column], rows: Iterable[Mapping[str, object]]) -> Table:
    return Table(name, tuple(columns), tuple(tuple(row[column.name] for column in columns) for row in rows))


def _run(run_record: RunRecord) -> dict[str, object]:
    identity, outcome = run_identity_of(run_record.events), run_outcome_of(run_record)
    overall, simulation = overall_of(run_record, outcome), run_record.simulation
    return {
        **_whose(run_record, identity),
        "sequence": run_record.title,
        "bench": run_record.bench.title if run_record.bench else "",
        "amplifier": identity.amplifier,
        "serial": identity.serial,
        "date": date_of(run_record),
        "simulated_instruments": simulation.words,
        "replayed": simulation.is_replayed,
        "ending": outcome.ending,
        "ended": outcome.words,
        "exit_code": outcome.exit_code,
        "safe": outcome.is_safe,
        "verdict": overall.word,
        "why": overall.why,
        "duration_s": run_record.duration_s,
        "cannot_be_read": " ".join(run_record.missing),
        "changed": " ".join(run_record.findings.changed),
    }


def _people(run_record: RunRecord, people: Mapping[str, str], *, with_owner: bool) -> dict[str, object]:
    told = dict(people_facts(run_record, with_owner=with_owner))
    return {column: told.get(fact, "") for fact, column in people.items()}


def _whose(run_record: RunRecord, identity: RunIdentity) -> dict[str, object]:
    return {"folder": run_record.name, "run": identity.run, "simulated": identity.simulated}


def _figures(run_record: RunRecord) -> Iterator[dict[str, object]]:
    identity = run_identity_of(run_record.events)
    for (_, required), row in zip(required_of(run_record), rows_of(run_record.entries, identity), strict=True):
        yield row | _whose(run_record, identity) | {"required": required}


def required_of(run_record: RunRecord) -> Iterator[tuple[Figure, str]]:
    """Each figure in order, with what it had to be, in words."""
    for entry in run_record.entries:
        step = run_record.step_of(entry)
        for figure in entry.figures:
            yield figure, requirement_in_words(figure, step, entry, run_record.amplifier)


def _trend(run_record: RunRecord) -> Iterator[dict[str, object]]:
    if run_record.trend is None:
        return
    whose = _whose(run_record, run_identity_of(run_record.events))
    signals = [column for column in run_record.trend.columns if column != "time_s"]
    columns = [run_record.trend[column].tolist() for column in signals]
    for time_s, *values in zip(run_record.trend["time_s"].tolist(), *columns, strict=True):
        for column, value in zip(signals, values, strict=True):
            signal, unit = signal_and_unit(column)
            cell = None if math.isnan(value) else value
            yield {**whose, "time_s": time_s, "signal": signal, "value": cell, "unit": unit}
