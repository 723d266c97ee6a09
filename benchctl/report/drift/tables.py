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
    columns = (*heads("of", "result"), *heads(numbers=["newest", "limits", "stated"]))
    return Table(caption, columns, tuple(map(_row, series)), note=_STATED).without_empty_columns()


def _row(series: Series) -> tuple[Cell, ...]:
    phase, found = series.present, finding_of(series)
    newest = phase.points[-1]
    return (
        Cell(series.reference.what, note=series.reference.where),
        Cell(found.word, found.look, note="; ".join(filter(None, [found.text, _history(series)]))),
        Cell(value_in_words(series, newest.given.value), "number", repr(newest.given.value), day_of(newest.began)),
        _limits(series),
        Cell(allowed_in_words(series), "number", note=_count(phase)),
    )


def _history(series: Series) -> str:
    """That a value had changed before something was calibrated or exchanged."""
    changed = [phase for phase in series.phases[:-1] if phase.is_alarm]
    return f"before the newest calibration, until {day_of(changed[-1].points[-1].began)}: changed" if changed else ""


def _limits(series: Series) -> Cell:
    if (limits := series.present.judged.limits) is None:
        return Cell("", "number")
    low, high, centre = (value_in_words(series, value) for value in (limits.lower, limits.upper, limits.centre))
    return Cell(f"{low} to {high}", "number", note=f"centre {centre}")


def _count(phase: Phase) -> str:
    left = f", {phase.coarse} too uncertain" if phase.coarse else ""
    return f"{len(phase.points)} value{'s' if len(phase.points) != 1 else ''}{left}"


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
    return Table(
        series.reference.what,
        columns,
        tuple(rows),
        note="; ".join(filter(None, [series.reference.where, series.reference.of])),
    ).without_empty_columns()


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
