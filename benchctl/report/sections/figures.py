"""All figures of a run as tables, one an analysis: a row a figure, with its value at each channel and its source."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from benchctl.archive.journal.entries import FiguresEntry
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.model.figures import figure_in_words
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.power import TOTAL
from benchctl.measure.budget.words import burst_in_words
from benchctl.measure.conditions import Conditions, common_to
from benchctl.quantity import clock_face
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.reading.step_history import StepTaken
from benchctl.report.sections.tables import Cell, Head, Table, coverage_in_words, heads, name_cell, said_cell
from benchctl.report.sections.verdicts import requirement_in_words
from benchctl.report.words.quantities import in_one_unit

WHOLE = ""  # the channel of a figure that belongs to the amplifier as a whole


@dataclass(frozen=True)
class StepFigures:
    """A step of the run, and the tables of what it measured."""

    label: str
    tables: tuple[Table, ...]


def figures_by_step(run_record: RunRecord) -> list[StepFigures]:
    """Every figure of the run, by the step that measured it, in the order in which steps first gave figures."""
    tables: dict[str, list[Table]] = {}
    for entry in run_record.entries:
        found = _EntryTables(entry, run_record.step_of(entry), run_record.amplifier, run_record.usual).tables()
        tables.setdefault(entry.step, []).extend(found)
    return [StepFigures(label, tuple(found)) for label, found in tables.items() if found]


def channels_of(figures: Iterable[Figure]) -> list[str]:
    """The channels in alphabetical order, the total behind them, and what belongs to the whole amplifier last."""
    return sorted({figure.channel for figure in figures}, key=lambda name: (name == WHOLE, name == TOTAL, name))


def source_in_words(entry: FiguresEntry, figures: Iterable[Figure]) -> str:
    """The captures that figures were computed from, or the event whose readings they come from."""
    captures = dict.fromkeys(file for figure in figures for file in figure.capture.split())
    return "\n".join(captures) or f"readings in journal event {entry.number}"


@dataclass(frozen=True)
class _EntryTables:
    """The tables of one analysis: of what holds where the bench was set to, and of what stands against frequency."""

    entry: FiguresEntry
    step: StepTaken | None
    amplifier: Amplifier | None
    usual: Conditions

    def tables(self) -> Iterator[Table]:
        swept = {name for name, places in self._places().items() if len(places) > 1}
        plain = [figure for figure in self.entry.figures if figure.name not in swept]
        for alike in self._driven_alike(plain):
            of_channels = [figure for figure in alike if figure.channel != WHOLE]
            of_all = [figure for figure in alike if figure.channel == WHOLE]
            yield from (self._by_channel(each) for each in (of_channels, of_all) if each)
        axes: dict[tuple[bool, bool], list[Figure]] = {}
        for figure in self.entry.figures:
            if figure.name in swept:
                axes.setdefault((figure.load_ohm is not None, figure.frequency_hz is not None), []).append(figure)
        yield from (self._against(figures) for figures in axes.values())

    def _driven_alike(self, figures: Sequence[Figure]) -> list[list[Figure]]:
        """Those at one level together: a burst has figures at two."""
        found: dict[Conditions, list[Figure]] = {}
        for figure in figures:
            found.setdefault(self.entry.conditions.driven_as(self.entry.conditions_of(figure)), []).append(figure)
        return list(found.values())

    def _places(self) -> dict[str, set[tuple[float | None, float | None]]]:
        """Name -> the loads and frequencies at which the figure was measured."""
        places: dict[str, set[tuple[float | None, float | None]]] = {}
        for figure in self.entry.figures:
            places.setdefault(figure.name, set()).add((figure.load_ohm, figure.frequency_hz))
        return places

    def _by_channel(self, figures: Sequence[Figure]) -> Table:
        channels = channels_of(figures)
        table = Table(
            self._caption(figures),
            (
                Head("figure"),
                *(Head(self._channel_in_words(channel), is_number=True) for channel in channels),
                *heads("unit", "requirement", "from"),
            ),
            tuple(self._row(row, channels) for row in _rows(figures, lambda figure: figure.name, _channel)),
            note=coverage_in_words(figures),
        )
        return table.without_empty_columns()

    def _channel_in_words(self, channel: str) -> str:
        if channel == WHOLE:
            return "value"
        # A multimeter's points have names of their own.
        return channel if channel == TOTAL or self.entry.analysis == "points" else f"channel {channel}"

    def _row(self, row: dict[str, Figure], channels: Sequence[str]) -> tuple[Cell, ...]:
        figures = list(row.values())
        texts, unit = in_one_unit(figures)
        cells = {channel: said_cell(row[channel], text) for channel, text in zip(row, texts, strict=True)}
        return (
            name_cell(figures[0], note=str(Conditions(figures[0].load_ohm, figures[0].frequency_hz))),
            *(cells.get(channel, Cell()) for channel in channels),
            Cell(unit),
            Cell(self._requirement(figures)),
            Cell(source_in_words(self.entry, figures), "code"),
        )

    def _against(self, figures: Sequence[Figure]) -> Table:
        """A row a frequency (or load), a column a figure and channel."""
        columns = list(dict.fromkeys((figure.name, figure.channel) for figure in figures))
        units, said = _in_columns(figures)
        rows = _rows(figures, lambda figure: (figure.load_ohm, figure.frequency_hz), _name_and_channel)
        table = Table(
            self._caption(figures),
            (Head("at"), *(Head(_column_in_words(*column, units[column[0]]), is_number=True) for column in columns),
             Head("from")),
            tuple(self._row_against(row, columns, said) for row in rows),
            note=". ".join(filter(None, [coverage_in_words(figures), *self._requirements(figures)])),
        )  # fmt: skip
        return table.without_empty_columns()

    def _row_against(
        self, row: dict[tuple[str, str], Figure], columns: Sequence[tuple[str, str]], said: Mapping[int, str]
    ) -> tuple[Cell, ...]:
        figures = list(row.values())
        return (
            Cell(str(Conditions(figures[0].load_ohm, figures[0].frequency_hz))),
            *(said_cell(row[column], said[id(row[column])]) if column in row else Cell() for column in columns),
            Cell(source_in_words(self.entry, figures), "code"),
        )

    def _requirement(self, figures: Iterable[Figure]) -> str:
        words = (requirement_in_words(figure, self.step, self.entry, self.amplifier) for figure in figures)
        return next(filter(None, words), "")

    def _requirements(self, figures: Sequence[Figure]) -> Iterator[str]:
        for name in dict.fromkeys(figure.name for figure in figures):
            if words := self._requirement(figure for figure in figures if figure.name == name):
                yield f"{figure_in_words(name)}: {words}"

    def _caption(self, figures: Sequence[Figure]) -> str:
        cycles = next((figure.burst_cycles for figure in figures if figure.burst_cycles), None)
        what = f"bursts of {burst_in_words(cycles)}" if cycles else self.entry.analysis.replace("_", " ")
        driven = common_to(self.entry.conditions_of(figure) for figure in figures)
        conditions = str(self.entry.conditions.driven_as(driven).without(self.usual))
        at = f" at {conditions}" if conditions else ""
        whole = "" if any(figure.channel for figure in figures) else ", the amplifier as a whole"
        return f"{self.entry.step}: {what}{at}, {clock_face(self.entry.time_s)} into the run{whole}"


_Column = TypeVar("_Column", bound=Hashable)


def _rows(
    figures: Iterable[Figure], row_of: Callable[[Figure], Hashable], column_of: Callable[[Figure], _Column]
) -> list[dict[_Column, Figure]]:
    """Figures in rows, column -> figure; one whose place is taken begins another row, so none is lost."""
    rows: dict[Hashable, list[dict[_Column, Figure]]] = {}
    for figure in figures:
        alike = rows.setdefault(row_of(figure), [])
        free = next((row for row in alike if column_of(figure) not in row), None)
        if free is None:
            alike.append({column_of(figure): figure})
        else:
            free[column_of(figure)] = figure
    return [row for alike in rows.values() for row in alike]


def _name_and_channel(figure: Figure) -> tuple[str, str]:
    return figure.name, figure.channel


def _channel(figure: Figure) -> str:
    return figure.channel


def _column_in_words(name: str, channel: str, unit: str) -> str:
    return ", ".join(filter(None, [f"{figure_in_words(name)} {channel}".rstrip(), unit]))


def _in_columns(figures: Sequence[Figure]) -> tuple[dict[str, str], dict[int, str]]:
    """The unit that all figures of a name are said in, and each figure's value in it."""
    units: dict[str, str] = {}
    said: dict[int, str] = {}
    for name in dict.fromkeys(figure.name for figure in figures):
        alike = [figure for figure in figures if figure.name == name]
        texts, units[name] = in_one_unit(alike)
        said |= {id(figure): text for figure, text in zip(alike, texts, strict=True)}
    return units, said
