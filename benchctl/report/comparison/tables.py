"""The tables of a comparison: the runs, what differs significantly, and every figure."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from benchctl.archive.changes import Change, Occasion
from benchctl.archive.journal.entries import positions_of
from benchctl.archive.journal.events import HANDS
from benchctl.measure.budget.figure import Figure, u_of_difference
from benchctl.measure.budget.words import burst_in_words, difference_in_words, unit_in_words
from benchctl.measure.conditions import Conditions
from benchctl.measure.method import methods_in_words
from benchctl.report.comparison.compared import Comparison, significance_of
from benchctl.report.comparison.naming import Names
from benchctl.report.reading.run_outcome import run_outcome_of
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.figures import WHOLE
from benchctl.report.sections.page_head import date_of
from benchctl.report.sections.simulated import instruments_in_words
from benchctl.report.sections.tables import Cell, Head, Table, heads, name_cell, said_cell
from benchctl.report.sections.verdicts import overall_of
from benchctl.report.words.quantities import in_one_unit

RULE = (
    "A difference is significant if it is more than its expanded uncertainty, which is the root of the sum of the "
    "squares of both uncertainties, as for independent ones, with k = 2 at least. On one bench the same instruments "
    "err alike in both runs, so less is found than there may be, never more."
)


def runs_table(comparison: Comparison) -> Table:
    """What each run was; what should be alike and is not stands out."""
    columns = tuple(Head(name) for name in comparison.names.each)
    return Table("The runs", (Head("of"), *columns), tuple(_facts(comparison.run_records)))


def _facts(run_records: Sequence[RunRecord]) -> Iterator[tuple[Cell, ...]]:
    """Rows of facts, and of those that must be alike if the figures are to be compared."""
    plain = {
        "amplifier": [run_record.unit for run_record in run_records],
        "date": [date_of(run_record) for run_record in run_records],
        "instruments": [instruments_in_words(run_record) for run_record in run_records],
        "ended": [run_outcome_of(run_record).words for run_record in run_records],
        "verdict": [overall_of(run_record, run_outcome_of(run_record)).word for run_record in run_records],
        "run folder": [run_record.name for run_record in run_records],
    }
    for name, texts in plain.items():
        yield (Cell(name), *(Cell(text) for text in texts))
    for name, texts in must_be_alike(run_records).items():
        differ = len(set(texts)) > 1
        yield (
            Cell(name),
            *(Cell(text, "untold" if differ else "", note="differs" if differ else "") for text in texts),
        )


def must_be_alike(run_records: Sequence[RunRecord]) -> dict[str, list[str]]:
    """What two runs must share to be compared, as far as their folders tell."""
    alike = {
        "sequence": [
            _document(run_record.title, run_record.sequence.source.text if run_record.sequence else "")
            for run_record in run_records
        ],
        "bench": [
            _document(_bench(run_record), run_record.bench.source.text if run_record.bench else "")
            for run_record in run_records
        ],
        "parameters set": [_pairs(run_record.began.get("settings") or {}) for run_record in run_records],
        "controls on record": [_pairs(positions_of(run_record.of_kind(HANDS))) for run_record in run_records],
        "benchctl": [
            str((run_record.began.get("versions") or {}).get("benchctl", "unknown")) for run_record in run_records
        ],
        "method of computing figures": [
            methods_in_words(entry.method for entry in run_record.entries) for run_record in run_records
        ],
    }
    return {name: texts for name, texts in alike.items() if any(texts)}


def _document(title: str, text: str) -> str:
    """A document by its title and by its text: two that differ in a word have other digits."""
    return f"{title}, file {hashlib.sha256(text.encode()).hexdigest()[:8]}" if text else ""


def _bench(run_record: RunRecord) -> str:
    return run_record.bench.title if run_record.bench else ""


def _pairs(pairs: Mapping[str, object]) -> str:
    return ", ".join(f"{name}: {value}" for name, value in pairs.items())


def unlike(run_records: Sequence[RunRecord]) -> list[str]:
    """What the runs should share and do not."""
    return [name for name, texts in must_be_alike(run_records).items() if len(set(texts)) > 1]


def changes_table(comparison: Comparison) -> Table | None:
    """What differs significantly, or is in one of the runs only; None where nothing is."""
    rows = comparison.significant()
    return _table("What differs significantly", comparison, rows, is_summary=True) if rows else None


def step_tables(comparison: Comparison) -> list[tuple[str, list[Table]]]:
    """Every figure, by step; a table for each analysis and length of burst."""
    usual = comparison.run_records[0].usual
    steps: dict[str, dict[object, dict[Occasion, tuple[Change, ...]]]] = {}
    for place, changes in comparison.rows.items():
        kind = (place.analysis, place.conditions, place.identity[2])
        steps.setdefault(place.step, {}).setdefault(kind, {})[place] = changes
    return [
        (step, [_table(_caption(next(iter(rows)), usual), comparison, rows) for rows in kinds.values()])
        for step, kinds in steps.items()
    ]


def _caption(place: Occasion, usual: Conditions) -> str:
    cycles = place.identity[2]
    what = f"bursts of {burst_in_words(cycles)}" if cycles else place.analysis.replace("_", " ")
    conditions = str(place.conditions.without(usual))
    return f"{place.step}: {what}{f' at {conditions}' if conditions else ''}"


def _table(
    caption: str, comparison: Comparison, rows: Mapping[Occasion, Sequence[Change]], *, is_summary: bool = False
) -> Table:
    """A row a figure; a summary is of several steps and says of each row where it is from."""
    columns = list(_columns(comparison.names))
    table = Table(
        caption,
        (*heads("figure", "channel", numbers=columns), *heads("unit", "step")),
        tuple(_row(place, changes, is_summary=is_summary) for place, changes in rows.items()),
        named=2,
    )
    return table.without_empty_columns()


def _columns(names: Names) -> Iterator[str]:
    first, *others = names.each
    yield first
    for other in others:
        yield from (other, "difference" if len(others) == 1 else f"difference from {first}")


def _row(place: Occasion, changes: Sequence[Change], *, is_summary: bool) -> tuple[Cell, ...]:
    _, channel, cycles, load_ohm, frequency_hz = place.identity
    figure = next(f for change in changes for f in (change.before, change.after) if f is not None)
    before = next((change.before for change in changes if change.before is not None), None)
    burst = f", {burst_in_words(cycles)}" if cycles and is_summary else ""
    words = _Words.of([before, *(change.after for change in changes)], changes)
    return (
        name_cell(figure, note=str(Conditions(load_ohm, frequency_hz))),
        Cell("" if channel == WHOLE else channel),
        words.value(before),
        *(cell for change in changes for cell in (words.value(change.after), words.difference(change))),
        Cell(words.unit),
        Cell(f"{_steps(place, changes)}{burst}" if is_summary else ""),
    )


def _steps(place: Occasion, changes: Sequence[Change]) -> str:
    """The step of the first run, and that of another where it has another name."""
    return " and ".join(dict.fromkeys([place.step, *(change.elsewhere for change in changes if change.elsewhere)]))


@dataclass(frozen=True)
class _Words:
    """The values of one row and their differences, all in one unit."""

    said: Mapping[int, str]
    unit: str

    @classmethod
    def of(cls, figures: Sequence[Figure | None], changes: Sequence[Change]) -> _Words:
        values = [figure for figure in figures if figure is not None]
        gaps = [(change, gap) for change in changes if (gap := _gap(change)) is not None]
        texts, unit = in_one_unit([*values, *(gap for _, gap in gaps)])
        keys = [*map(id, values), *(id(change) for change, _ in gaps)]
        return cls(dict(zip(keys, texts, strict=True)), unit)

    def value(self, figure: Figure | None) -> Cell:
        return Cell("not measured", "number") if figure is None else said_cell(figure, self.said[id(figure)])

    def difference(self, change: Change) -> Cell:
        words = significance_of(change)
        if change.before is None or change.after is None:
            return Cell("", "number", note=words)
        look = "changed" if change.is_change else "number"
        if change.before.bound or change.after.bound:
            return Cell("", look, note=words)
        text = self.said.get(id(change), "") or difference_in_words(change.before, change.after)
        signed = text if text.startswith(("-", "+")) else f"+{text}"
        return Cell(signed, look, repr(change.after.value - change.before.value), note=words)


def _gap(change: Change) -> Figure | None:
    """The difference as a figure in the same unit; none beside a bound, nor of decibels, which are no differences."""
    before, after = change.before, change.after
    if before is None or after is None or before.bound or after.bound or unit_in_words(after) == "dB":
        return None
    uncertainty = u_of_difference(before, after)
    return replace(after, value=after.value - before.value, expanded_uncertainty=uncertainty or None)
