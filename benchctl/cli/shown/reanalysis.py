"""What a person sees of a reanalysis: how far it is, and what changed in all."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import click
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table

from benchctl.archive.reanalysis.again import UNEXPLAINED
from benchctl.archive.reanalysis.kept import RunRow
from benchctl.archive.reanalysis.reanalyse import Collection, Done
from benchctl.archive.reanalysis.tally import MOST_TOLD, OfFigure, Tally
from benchctl.measure.method import METHOD

_MOST_NAMED = 20


@contextmanager
def progress_of(runs: int, who: str) -> Iterator[Callable[[RunRow], None]]:
    """A line on a terminal with how many runs are done, and the time that is left; nothing elsewhere."""
    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as progress:
        task = progress.add_task(f"computing again, {who}", total=runs)
        yield lambda _: progress.advance(task)


def print_results(collection: Collection, done: Done, tally: Tally, folder: Path) -> None:
    """The table of what changed, then lines."""
    if tally.figures:
        Console(markup=False, highlight=False).print(_table(tally))
    for line in _lines(collection, done, tally, folder):
        click.echo(line)


def _table(tally: Tally) -> Table:
    table = Table(title=f"What method {METHOD} computes differently", title_justify="left")
    table.add_column("figure", no_wrap=True)
    for heading in ("runs", "changed", "by up to", "verdicts turned", "new", "lost"):
        table.add_column(heading, justify="right")
    for name, of_figure in sorted(tally.figures.items()):
        table.add_row(name, *_cells(of_figure))
    return table


def _cells(of_figure: OfFigure) -> Iterator[str]:
    yield str(len(of_figure.runs))
    yield _number(of_figure.changed)
    yield _in_u(of_figure.largest_in_u)
    yield _number(of_figure.turned)
    yield _number(of_figure.new)
    yield _number(of_figure.not_computed)


def _in_u(size: float | None) -> str:
    if size is None:
        return ""
    if size == 0.0:
        return "U alone"
    if abs(size) < 0.01:
        return "< 0.01 U"
    return f"{size:+,.0f} U" if abs(size) >= 10.0 else f"{size:+.2g} U"


def _number(count: int) -> str:
    return f"{count:,}" if count else ""


def _lines(collection: Collection, done: Done, tally: Tally, folder: Path) -> Iterator[str]:
    yield from tally.turned
    if (more := done.count("verdicts_turned") - MOST_TOLD) > 0:
        yield f"and {more:,} more verdicts that turned; changes.csv has them"
    for change in tally.why:
        yield f"changed with {change}"
    if tally.unexplained:
        yield f"{tally.unexplained:,} of the figures changed, and {UNEXPLAINED}"
    yield from _at_most([str(other) for other in collection.not_read], "more folders that are no runs")
    failed = [f"{row.name} was not computed: {row.error}" for row in done.failed]
    yield from _at_most(failed, "more runs that were not computed; runs.csv has them")
    yield _in_all(done)
    yield f"Results: {folder}"


def _at_most(lines: Sequence[str], rest: str) -> Iterator[str]:
    yield from lines[:_MOST_NAMED]
    if (more := len(lines) - _MOST_NAMED) > 0:
        yield f"and {more:,} {rest}"


def _in_all(done: Done) -> str:
    runs = len(done.rows)
    failed = f", {len(done.failed):,} not computed" if done.failed else ""
    before = f", {done.as_before:,} of them as before" if done.as_before else ""
    lost = f", {done.count('not_computed'):,} not computed any more" if done.count("not_computed") else ""
    new = f", {done.count('new'):,} new" if done.count("new") else ""
    return (
        f"{runs:,} {'run' if runs == 1 else 'runs'}{before}{failed}. {done.count('figures'):,} figures: "
        f"{done.count('changed'):,} changed, {done.count('verdicts_turned'):,} verdicts turned{new}{lost}."
    )
