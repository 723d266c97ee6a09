"""Runs as a person sees them, in columns, and as data for a program. Thousands of them are shown in a moment."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict
from functools import lru_cache
from pathlib import Path
from typing import Any

from benchctl.archive.collection.figure_rows import FigureRow
from benchctl.archive.collection.finding import Match
from benchctl.archive.collection.indexed.index import Collection
from benchctl.archive.collection.summary import RunSummary
from benchctl.archive.collection.words import ended_in_words, kind_of, run_in_words, shown
from benchctl.readable import printable

_HEADS = ("date, UTC", "serial", "amplifier", "sequence", "verdict", "ended", "", "run folder")
_MOST_NAMED = 20
_LONGEST_LINE = 300


def runs_in_columns(runs: Sequence[RunSummary], root: Path) -> str:
    """A line for each run, with a head; each column as wide as its widest cell."""
    return _in_columns(_HEADS, [cells_of(run, root) for run in runs])


def cells_of(run: RunSummary, root: Path) -> tuple[str, ...]:
    """What a line says of a run."""
    date = f"{run.began:%Y-%m-%d %H:%M}" if run.began else "not known"
    titles = (shown(text) for text in (run.serial, run.amplifier, run.sequence))
    return (date, *titles, run.verdict, ended_in_words(run), kind_of(run), _below(run.folder, root))


def _below(folder: Path, root: Path) -> str:
    return printable(str(folder.relative_to(root)) if folder != root else str(folder), longest=200)


def _in_columns(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """A column without content is left out."""
    columns = [column for column in zip(heads, *rows, strict=True) if any(column[1:])] if rows else []
    widths = [max(map(len, column)) for column in columns]
    padded = [[cell.ljust(width) for cell in column] for column, width in zip(columns, widths, strict=True)]
    return "\n".join("  ".join(line).rstrip() for line in zip(*padded, strict=True))


def found_in_lines(found: Iterable[Match]) -> Iterator[str]:
    """Each run, and under it each of its figures that was looked for, with its conditions."""
    from benchctl.measure.budget.words import unit_in_words, value_in_words  # noqa: PLC0415 - list needs none of it

    for each in found:
        some = "" if len(each.figures) == each.asked else f"; {len(each.figures)} of {each.asked} such figures"
        yield f"{run_in_words(each.run)}{some}"
        for figure, row in each.figures:
            said = f"{value_in_words(figure)} {unit_in_words(figure)}".rstrip()
            verdict = f", {row.verdict}" if row.verdict else ""
            yield f"    {figure.name} {said}{verdict}: {', '.join(_conditions(row))}"


@lru_cache(maxsize=4096)
def _said(value: float, unit: str) -> str:
    """Thousands of figures share their loads, frequencies and voltages."""
    from benchctl.quantity import render  # noqa: PLC0415 - list needs none of it

    return render(value, unit)


def _conditions(row: FigureRow) -> Iterator[str]:
    if row.channel:
        yield row.channel if row.channel == "total" else f"channel {row.channel}"
    for value, unit in ((row.load_ohm, "ohm"), (row.frequency_hz, "Hz"), (row.supply_set_v, "V")):
        if value is not None:
            yield _said(value, unit)
    if row.burst_cycles is not None:
        yield f"{row.burst_cycles} cycle{'s' if row.burst_cycles != 1 else ''}"
    if row.drive:
        yield row.drive
    yield f"step {row.step}"


def remarks(runs: Collection, shown_runs: Sequence[RunSummary]) -> Iterator[str]:
    """What is wrong with the folders of the runs that are shown, what could not be read, and why no index is kept."""
    told = [f"{run.name}: {problem}" for run in shown_runs for problem in run.problems]
    yield from _first_of("Wrong with the folders above:", "thing", told)
    yield from _first_of("Not read:", "folder", [str(other) for other in runs.not_read])
    if runs.without_index:
        yield f"Every folder was read, which takes longer: {runs.without_index}."


def _first_of(beginning: str, what: str, lines: Sequence[str]) -> Iterator[str]:
    """How many there are, and the first of them."""
    if lines:
        yield f"{beginning} {len(lines)} {what}{'s' if len(lines) > 1 else ''}:"
    yield from (f"  {printable(line, longest=_LONGEST_LINE)}" for line in lines[:_MOST_NAMED])
    if len(lines) > _MOST_NAMED:
        yield f"  and {len(lines) - _MOST_NAMED} more; --json names them all."


def as_data(run: RunSummary) -> dict[str, Any]:
    """A run for a program."""
    return {
        "folder": str(run.folder),
        "run": run.run,
        "began": run.began.isoformat() if run.began else None,
        "duration_s": run.duration_s,
        "amplifier": run.amplifier,
        "class": run.amplifier_class,
        "serial": run.serial,
        "sequence": run.sequence,
        "bench": run.bench,
        "simulated": run.is_simulated,
        "replayed": run.simulation.is_replayed,
        "dry_run": run.is_dry,
        "verdict": run.verdict,
        "verdicts": asdict(run.counts),
        "ending": run.ending,
        "reason": run.reason,
        "exit_code": run.exit_code,
        "safe": run.is_safe,
        "version": run.version,
        "methods": list(run.methods),
        "notes": [note.text for note in run.notes],
        "problems": list(run.problems),
    }


def found_as_data(found: Match) -> dict[str, Any]:
    """A run with the figures that made it found; numbers in base units, names as in figures.csv."""
    figures = [row._asdict() for _, row in found.figures]
    for figure in figures:
        for name in ("driven", "bursts", "bound_reason", "capture", "time_s"):  # only the folder tells them
            del figure[name]
    return as_data(found.run) | {"figures": figures, "such_figures": found.asked}


def others_as_data(runs: Collection) -> list[dict[str, str]]:
    """The folders that could not be read."""
    return [{"folder": str(other.path), "why": other.why} for other in runs.not_read]
