"""A run in short as a row of the index, and back. What the index has no column for, only the run folder tells."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from benchctl.archive.collection.figure_rows import NO_FIGURES, FigureTable
from benchctl.archive.collection.overall import Counts
from benchctl.archive.collection.summary import RunSummary
from benchctl.archive.journal.notes import Note
from benchctl.archive.journal.simulation import Simulation

_as_json = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), check_circular=False).encode

# Of a figure, in this order; its name stands beside them.
_KEPT = (
    *("value", "unit", "expanded_uncertainty", "coverage_factor", "bound", "verdict", "channel", "step", "load_ohm"),
    *("frequency_hz", "burst_cycles", "level_v", "drive", "supply_set_v", "supply_at", "thd_limit", "contradiction"),
)


def told_of(run: RunSummary) -> tuple[object, ...]:
    """The values of `TOLD_COLUMNS`."""
    return (
        run.run,
        run.began.timestamp() if run.began else None,
        run.duration_s,
        run.sequence,
        run.amplifier,
        run.amplifier_class,
        run.serial,
        run.bench,
        _as_json(asdict(run.simulation)),
        run.is_dry,
        run.version,
        _as_json(run.methods),
        run.ending,
        run.reason,
        run.exit_code,
        run.is_safe,
        run.verdict,
        _as_json(asdict(run.counts)),
        _as_json([{**vars(note), "photos": dict(note.photos)} for note in run.notes]),
        _as_json(run.problems),
    )


def run_told(folder: Path, told: Sequence[Any]) -> RunSummary:
    """The run in short without its figures; the other way round than `told_of`."""
    run, began, duration_s, sequence, amplifier, amplifier_class, serial, bench, simulation, *others = told
    is_dry, version, methods, ending, reason, exit_code, is_safe, verdict, counts, notes, problems = others
    return RunSummary(
        folder,
        run,
        None if began is None else datetime.fromtimestamp(began, UTC),
        duration_s,
        sequence,
        amplifier,
        amplifier_class,
        serial,
        bench,
        _simulation(simulation),
        bool(is_dry),
        version,
        _whole_numbers(methods),
        ending,
        reason,
        exit_code,
        None if is_safe is None else bool(is_safe),
        verdict,
        _counts(counts),
        NO_FIGURES,
        tuple(Note(**note) for note in json.loads(notes)) if notes != "[]" else (),
        tuple(json.loads(problems)) if problems != "[]" else (),
    )


# Thousands of runs share these.
@lru_cache(maxsize=4096)
def _simulation(text: str) -> Simulation:
    told = json.loads(text)
    return Simulation(tuple(told["simulated"]), tuple(told["real"]), told["is_told"], told["is_replayed"])


@lru_cache(maxsize=4096)
def _counts(text: str) -> Counts:
    return Counts(**json.loads(text))


@lru_cache(maxsize=4096)
def _whole_numbers(text: str) -> tuple[int, ...]:
    return tuple(json.loads(text))


def figures_told(figures: FigureTable) -> Iterator[tuple[str, str]]:
    """Each name of a figure, and all figures of that name as the index keeps them."""
    by_name: dict[str, list[Sequence[str]]] = {}
    for name, *row in zip(figures.column("figure"), *map(figures.column, _KEPT), strict=True):
        by_name.setdefault(name, []).append(row)
    for name, rows in by_name.items():
        yield name, _as_json(rows)


def table_told(name: str, told: str) -> FigureTable:
    """The figures of one name of a run; the other way round than `figures_told`. Conditions that only the folder tells
    are empty."""
    rows = json.loads(told)
    columns = dict(zip(_KEPT, zip(*rows, strict=True), strict=True))
    return FigureTable({"figure": (name,) * len(rows), **columns}, len(rows))
