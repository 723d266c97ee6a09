"""What `benchctl drift` prints, and as data."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click

from benchctl.archive.drift.series import Series
from benchctl.archive.folder import slug
from benchctl.cli.choosing import looked_into
from benchctl.cli.shown.folders.runs import remarks
from benchctl.cli.shown.pages import refuse_to_overwrite
from benchctl.report.drift.bench_life import BenchLife, bench_life
from benchctl.report.drift.wording import finding_of, headline_of
from benchctl.report.drift_page import write_drift_page, zeros_in_short
from benchctl.report.words.days import span_in_words


def show_drift(
    folder: Path | None, bench: str, standard: str, out: Path | None, *, with_simulated: bool, as_json: bool
) -> int:
    """Write the page, and print in short what it says; the command's exit code."""
    if out is not None:
        refuse_to_overwrite(out)
    collection = looked_into(folder)
    life = bench_life(collection.runs, bench, standard, with_simulated=with_simulated)
    page = out or collection.root / f"drift-{slug(life.bench)}.html"
    refuse_to_overwrite(page)
    write_drift_page(life, page)
    if as_json:
        click.echo(json.dumps(_as_data(life, page), indent=2))
    else:
        click.echo("\n".join(_lines(life)))
        click.echo(f"Page: {page}")
    for line in remarks(collection, [run for run in collection.runs if run.bench == life.bench]):
        click.echo(line, err=True)
    return 1 if life.alarms else 0


def _lines(life: BenchLife) -> Iterator[str]:
    mark = "Simulated runs among it. " if life.has_simulated else ""
    count = f"{life.runs} run{'s' if life.runs > 1 else ''}"
    yield f"{mark}{life.bench}: {count}, {span_in_words(life.first, life.last)}"
    for series in (each for each in life.series if each.reference.kind != "zero"):
        found, where = finding_of(series), f" ({series.reference.where})" if series.reference.where else ""
        yield f"  {series.reference.what}{where}: {': '.join(filter(None, [found.word, found.text]))}"
    if zeros := [each for each in life.series if each.reference.kind == "zero"]:
        yield f"  {zeros_in_short(zeros)}"
    for text in life.left_out:
        yield f"  left out: {text}"
    for text in life.overdue:
        yield f"  calibration was overdue on the day of the newest run: {text}"
    yield f"{_sentence(life)}."
    yield from dict.fromkeys(finding_of(each).means for each in life.alarms)


def _sentence(life: BenchLife) -> str:
    return headline_of(life.alarms, life.lone, life.judged, len(life.series))


def _as_data(life: BenchLife, page: Path) -> dict[str, Any]:
    return {
        "page": str(page),
        "bench": life.bench,
        "standard": life.standard or None,
        "runs": life.runs,
        "first": life.first.isoformat(),
        "last": life.last.isoformat(),
        "has_simulated": life.has_simulated,
        "headline": _sentence(life),
        "series": [_series(each) for each in life.series],
        "overdue": list(life.overdue),
        "left_out": list(life.left_out),
    }


def _series(series: Series) -> dict[str, Any]:
    phase, found = series.present, finding_of(series)
    limits = phase.judged.limits
    return {
        "kind": series.reference.kind,
        "what": series.reference.what,
        "where": series.reference.where,
        "unit": series.reference.unit,
        "instruments": series.reference.of,
        "phase": phase.name,
        "state": phase.judged.state,
        "matters": phase.matters,
        "found": ": ".join(filter(None, [found.word, found.text])),
        "centre": limits and limits.centre,
        "lower": limits and limits.lower,
        "upper": limits and limits.upper,
        "stated": phase.allowed,
        "values": [
            {"run": point.run, "began": point.began.isoformat(), "value": point.given.value} for point in phase.points
        ],
    }
