"""The tables of a bench's life: what was found, every value, and what calibrations found."""

from __future__ import annotations

from collections.abc import Sequence

from benchctl.archive.drift.calibrated import Recalibrated
from benchctl.archive.drift.series import Phase, Series
from benchctl.report.drift.wording import allowed_in_words, finding_of, value_in_words
from benchctl.report.sections.tables import Cell, Table, heads
from benchctl.report.words.days import day_of
from benchctl.report.words.quantities import setting

_STATED = "Stated: how far a value may be off by what the bench file says of the instruments."


def findings_table(caption: str, series: Sequence[Series]) -> Table:
    """A row for each series, of its present phase."""
    columns = (*heads("of", "result"), *heads(numbers=["newest", "centre", "limits", "stated", "values"]))
    return Table(caption, columns, tuple(map(_row, series)), note=_STATED).without_empty_columns()


def _row(series: Series) -> tuple[Cell, ...]:
    phase, found = series.present, finding_of(series)
    limits = phase.judged.limits
    centre = "" if limits is None else value_in_words(series, limits.centre)
    between = (
        "" if limits is None else f"{value_in_words(series, limits.lower)} to {value_in_words(series, limits.upper)}"
    )
    newest = phase.points[-1]
    return (
        Cell(series.reference.what),
        Cell(found.word, found.look, note=found.text),
        Cell(value_in_words(series, newest.given.value), "number", repr(newest.given.value), day_of(newest.began)),
        Cell(centre, "number"),
        Cell(between, "number"),
        Cell(allowed_in_words(series), "number"),
        Cell(str(len(phase.points)), "number", note=_coarse(phase)),
    )


def _coarse(phase: Phase) -> str:
    return f"{phase.coarse} too uncertain, left out" if phase.coarse else ""


def values_table(series: Series) -> Table:
    """Every value with its run; a row that begins a phase says what was calibrated."""
    rows = []
    for phase in series.phases:
        for place, point in enumerate(phase.points):
            outside = phase.is_outside(place)
            rows.append(
                (
                    Cell(day_of(point.began)),
                    Cell(value_in_words(series, point.given.value), "number", repr(point.given.value)),
                    Cell("outside" if outside else "", "untold" if outside else ""),
                    Cell(point.run),
                    Cell(phase.name if place == 0 else ""),
                )
            )
    columns = (*heads("day"), *heads(numbers=["value"]), *heads("limits", "run", "from here on"))
    return Table(series.reference.what, columns, tuple(rows), note=series.reference.of).without_empty_columns()


def calibrations_table(calibrated: Sequence[Recalibrated]) -> Table | None:
    """Each calibration with the change to the one before."""
    columns = (*heads("what", "day"), *heads(numbers=["value", "uncertainty", "change"]))
    rows = tuple(
        (
            Cell(each.found.what),
            Cell(each.found.date),
            Cell(setting(each.found.value, each.found.unit), "number", repr(each.found.value)),
            Cell(f"±{100.0 * each.found.relative_uncertainty:.2g} %", "number"),
            _change(each),
        )
        for each in calibrated
    )
    note = "A change is marked where it is more than both uncertainties together."
    return Table("What calibrations found", columns, rows, named=2, note=note) if rows else None


def _change(each: Recalibrated) -> Cell:
    if each.change is None:
        return Cell("", "number")
    word = "changed" if each.is_change else "not beyond both uncertainties"
    return Cell(f"{100.0 * each.change:+.2g} %", "untold" if each.is_change else "number", note=word)
