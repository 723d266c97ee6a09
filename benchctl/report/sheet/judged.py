"""The verdicts of a sheet: those that are alike in one row, the worst first, and how many are left."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from benchctl.archive.journal.entries import FiguresEntry
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.words import verdicts_in_words
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.tables import look_of
from benchctl.report.sections.verdicts import requirement_in_words
from benchctl.report.sheet.shortened import cut
from benchctl.report.words.names import name_of, place_of
from benchctl.report.words.quantities import said

_ORDER = ("fails", "inconclusive", "passes")
_MOST_VALUES = 2
_LONGEST_REQUIREMENT = 60

_Judged = tuple[FiguresEntry, Figure]
_Key = tuple[str, str, str, str]


@dataclass(frozen=True)
class SheetVerdict:
    """Figures of one name at one place that were asked the same and have the same verdict; `count` says how many."""

    name: str
    values: str
    asked: str
    verdict: str
    look: str
    count: int


@dataclass(frozen=True)
class SheetVerdicts:
    """The rows, and in words what is left out of them."""

    rows: tuple[SheetVerdict, ...]
    left: str


def sheet_verdicts(run_record: RunRecord, most: int) -> SheetVerdicts:
    """What was asked of the amplifier and what came of it, in at most so many rows."""
    groups = sorted(_groups(run_record).items(), key=lambda group: _ORDER.index(group[0][3]))
    rows = tuple(_row(key, judged) for key, judged in groups[:most])
    return SheetVerdicts(rows, _left([figure for _, judged in groups[most:] for _, figure in judged]))


def _groups(run_record: RunRecord) -> Mapping[_Key, list[_Judged]]:
    groups: dict[_Key, list[_Judged]] = {}
    for entry, figure in _judged(run_record):
        asked = requirement_in_words(figure, run_record.step_of(entry), entry, run_record.amplifier)
        key = name_of(figure), place_of(entry.conditions_of(figure)), asked, str(figure.verdict)
        groups.setdefault(key, []).append((entry, figure))
    return groups


def _judged(run_record: RunRecord) -> Iterator[_Judged]:
    yield from ((entry, figure) for entry in run_record.entries for figure in entry.figures if figure.verdict)


def _row(key: _Key, judged: Sequence[_Judged]) -> SheetVerdict:
    name, place, asked, verdict = key
    figures = [figure for _, figure in judged]
    return SheetVerdict(
        " ".join(filter(None, [name, place])),
        _values(figures),
        cut(asked, _LONGEST_REQUIREMENT),
        verdict,
        look_of(verdict),
        len(figures),
    )


def _values(figures: Sequence[Figure]) -> str:
    """Each with its channel; of many, from the lowest to the highest."""
    if len(figures) <= _MOST_VALUES:
        return ", ".join(" ".join(filter(None, [figure.channel, said(figure)])) for figure in figures)
    lowest, highest = (said(choose(figures, key=lambda figure: figure.value)) for choose in (min, max))
    return f"{len(figures)} values, {lowest} to {highest}"


def _left(figures: Sequence[Figure]) -> str:
    if not figures:
        return ""
    verdicts = [figure.verdict for figure in figures]
    passes, fails, inconclusive = (verdicts.count(word) for word in ("passes", "fails", "inconclusive"))
    return f"Of the verdicts that have no room here: {verdicts_in_words(passes, fails, inconclusive)}."
