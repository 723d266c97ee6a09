"""The closing tables of a run, made from its figures."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from benchctl.archive.entries import FiguresEntry
from benchctl.documents.amplifier import Amplifier
from benchctl.guard.safe_state import Confirmation
from benchctl.measure.figure import Figure
from benchctl.measure.power import TOTAL
from benchctl.measure.words import burst_in_words, unit_in_words, value_in_words
from benchctl.quantity import render

_STYLES = {"passes": "green", "fails": "bold red", "inconclusive": "yellow"}
# Against frequency, these in this order; of a finer sweep the table shows so many frequencies, figures.csv all.
_AGAINST_FREQUENCY = ("gain", "phase", "channel_balance", "crosstalk")
_MOST_FREQUENCIES = 12
# What has a table of its own; whatever else was measured stands in the last one.
_TABULATED = ("idle", "burst", "continuous")


def closing_tables(
    entries: Sequence[FiguresEntry],
    amplifier: Amplifier,
    confirmations: Sequence[Confirmation] = (),
    positions: Mapping[str, str] | None = None,
) -> RenderableType:
    """With which controls what was measured: idle, output power per channel, full drive, supply draw, and whatever
    else; and, last and in red, what is not known to be off."""
    tables = [
        _positions_table(positions or {}),
        _idle_table(entries),
        _power_table(entries, amplifier),
        _full_drive_table(entries),
        _supply_table(entries),
        *_response_tables(entries),
        _other_table(entries),
        _unconfirmed_table(confirmations),
    ]
    return Group(*(table for table in tables if table.row_count))


def _cell(figures: Sequence[Figure], name: str, channel: str = "") -> Text:
    """The last figure of that name and channel, in the colour of its verdict."""
    found = [figure for figure in figures if figure.name == name and figure.channel == channel]
    return _styled(found[-1]) if found else Text("")


def _table(title: str, *columns: str, right: Sequence[str]) -> Table:
    table = Table(title=title, title_justify="left", title_style="bold")
    for column in columns:
        table.add_column(column)
    for column in right:
        table.add_column(column, justify="right")
    return table


def _positions_table(positions: Mapping[str, str]) -> Table:
    """The same amplifier with another gain, or with a filter in, is another amplifier."""
    table = _table("Controls, as the operator gave them", "control", "position", right=[])
    for control, position in positions.items():
        table.add_row(Text(control), Text(position))
    return table


def _idle_table(entries: Sequence[FiguresEntry]) -> Table:
    table = _table("Idle", "figure", "channel", right=["value", "unit", "verdict"])
    for figure in (figure for entry in entries if entry.analysis == "idle" for figure in entry.figures):
        table.add_row(figure.name, figure.channel, *_value_unit_verdict(figure))
    return table


def _value_unit_verdict(figure: Figure) -> tuple[str, str, Text]:
    verdict = Text(figure.verdict, style=_STYLES.get(figure.verdict, ""))
    return value_in_words(figure), unit_in_words(figure), verdict


def _conditions(entry: FiguresEntry) -> tuple[str, str]:
    return _in_words(entry.conditions.load_ohm, entry.conditions.frequency_hz)


def _conditions_of(entry: FiguresEntry, figure: Figure) -> tuple[str, str]:
    """A figure's own load and frequency, where it has them; else what the bench was set to."""
    set_to = entry.conditions
    return _in_words(figure.load_ohm or set_to.load_ohm, figure.frequency_hz or set_to.frequency_hz)


def _in_words(load_ohm: float | None, frequency_hz: float | None) -> tuple[str, str]:
    return render(load_ohm, "ohm") if load_ohm else "", render(frequency_hz, "Hz") if frequency_hz else ""


def _at(conditions: tuple[str, str]) -> str:
    return ", ".join(filter(None, conditions))


def _groups(entries: Sequence[FiguresEntry]) -> Iterator[tuple[tuple[str, str], list[FiguresEntry]]]:
    """Entries under the same load and frequency, in the order in which these first came."""
    driven = [entry for entry in entries if entry.analysis in _TABULATED[1:]]
    for conditions in dict.fromkeys(_conditions(entry) for entry in driven):
        yield conditions, [entry for entry in driven if _conditions(entry) == conditions]


def _cycles(entries: Sequence[FiguresEntry]) -> list[int]:
    found = {figure.burst_cycles for entry in entries for figure in entry.figures if figure.burst_cycles}
    return sorted(found)


def _power_table(entries: Sequence[FiguresEntry], amplifier: Amplifier) -> Table:
    lengths = _cycles(entries)
    bursts = [burst_in_words(cycles) for cycles in lengths]
    table = _table(
        "Clean output power, W",
        "load",
        "frequency",
        "channel",
        right=[*bursts, "continuous", "rated", "verdict"],
    )
    for (load, frequency), group in _groups(entries):
        figures = [figure for entry in group for figure in entry.figures]
        for channel in _channels(figures):
            of_bursts = [_cell(_of_length(figures, cycles), "burst_power_clean", channel) for cycles in lengths]
            continuous = _cell(figures, "continuous_power", channel)
            rating = amplifier.rating(group[0].conditions.load_ohm or 0.0)
            rated = f"{rating.power_w:g}" if rating and channel != TOTAL else ""
            table.add_row(load, frequency, channel, *of_bursts, continuous, rated, _verdict(figures, channel))
        table.add_section()
    return table


def _channels(figures: Sequence[Figure]) -> list[str]:
    names = {figure.channel for figure in figures if figure.unit == "W" and figure.channel}
    return sorted(names, key=lambda name: (name == TOTAL, name))


def _of_length(figures: Sequence[Figure], cycles: int | None) -> list[Figure]:
    return [figure for figure in figures if figure.burst_cycles == cycles]


def _verdict(figures: Sequence[Figure], channel: str) -> Text:
    found = [f.verdict for f in figures if f.name == "continuous_power" and f.channel == channel]
    verdict = found[-1] if found else ""
    return Text(verdict, style=_STYLES.get(verdict, ""))


def _full_drive_table(entries: Sequence[FiguresEntry]) -> Table:
    powers = ("first", "highest", "lowest", "last")
    table = _table(
        "Bursts at full drive (first cycle at the distortion bound), W",
        "at",
        "burst",
        "channel",
        right=[*powers, "droop, %", "peak, V"],
    )
    for conditions, group in _groups(entries):
        figures = [figure for entry in group for figure in entry.figures]
        for cycles in _cycles(group):
            of_length = _of_length(figures, cycles)
            for channel in _channels(of_length):
                cells = [_cell(of_length, f"burst_power_{which}", channel) for which in powers]
                others = [_cell(of_length, name, channel) for name in ("droop", "output_peak")]
                table.add_row(_at(conditions), burst_in_words(cycles), channel, *cells, *others)
        table.add_section()
    return table


def _supply_table(entries: Sequence[FiguresEntry]) -> Table:
    names = ("supply_current", "supply_current_peak", "supply_voltage", "efficiency", "heatsink_temperature")
    table = _table(
        "Supply and heat",
        "at",
        "drive",
        right=["current, A", "peak, A", "voltage, V", "efficiency, %", "heatsink, degC"],
    )
    for conditions, group in _groups(entries):
        figures = [figure for entry in group for figure in entry.figures]
        for cycles in [*_cycles(group), None]:
            cells = [_cell(_of_length(figures, cycles), name) for name in names]
            if any(cells):
                drive = burst_in_words(cycles) if cycles else "continuous"
                table.add_row(_at(conditions), drive, *cells)
        table.add_section()
    return table


def _response_tables(entries: Sequence[FiguresEntry]) -> list[Table]:
    """One for each entry whose figures stand against frequency: a row a frequency, a column a figure and channel."""
    tables = []
    for entry in entries:
        swept = [figure for figure in entry.figures if figure.frequency_hz and figure.name in _AGAINST_FREQUENCY]
        if swept:
            tables.append(_response_table(entry, swept))
    return tables


def _response_table(entry: FiguresEntry, swept: Sequence[Figure]) -> Table:
    def place(figure: Figure) -> tuple[int, str]:
        return _AGAINST_FREQUENCY.index(figure.name), figure.channel

    columns = sorted({place(figure) for figure in swept})
    cells = {(figure.frequency_hz, place(figure)): figure for figure in swept}
    heads = {place(figure): f"{figure.name} {figure.channel}, {unit_in_words(figure)}" for figure in swept}
    table = _table(
        f"Against frequency, {_conditions(entry)[0]}", "frequency", right=[heads[column] for column in columns]
    )
    for frequency_hz in _shown(swept):
        figures = (cells.get((frequency_hz, column)) for column in columns)
        table.add_row(render(frequency_hz, "Hz"), *("" if figure is None else _told(figure) for figure in figures))
    return table


def _shown(swept: Sequence[Figure]) -> list[float]:
    """Every so many-th of the frequencies, 1 kHz among them if it is there, and each at which something is amiss."""
    frequencies_hz = sorted({figure.frequency_hz for figure in swept if figure.frequency_hz})
    every = math.ceil(len(frequencies_hz) / _MOST_FREQUENCIES)
    kept = frequencies_hz.index(1000.0) % every if 1000.0 in frequencies_hz else 0
    amiss = {figure.frequency_hz for figure in swept if figure.frequency_hz and _is_amiss(figure)}
    return sorted({*frequencies_hz[kept::every], *amiss})


def _is_amiss(figure: Figure) -> bool:
    return figure.verdict not in ("", "passes")


def _told(figure: Figure) -> Text:
    """The value, and in words what is amiss with it."""
    styled = _styled(figure)
    return styled.append(f" {figure.verdict}") if _is_amiss(figure) else styled


def _styled(figure: Figure) -> Text:
    """The value in the colour of its verdict."""
    return Text(value_in_words(figure), style=_STYLES.get(figure.verdict, ""))


def _other_table(entries: Sequence[FiguresEntry]) -> Table:
    """Whatever stands in no other table."""
    table = _table("Also measured", "figure", "at", "channel", right=["value", "unit", "verdict"])
    for entry in entries:
        if entry.analysis not in _TABULATED:
            for figure in entry.figures:
                if figure.name not in _AGAINST_FREQUENCY or figure.frequency_hz is None:
                    at = _at(_conditions_of(entry, figure))
                    table.add_row(figure.name, at, figure.channel, *_value_unit_verdict(figure))
    return table


def _unconfirmed_table(confirmations: Sequence[Confirmation]) -> Table:
    """What did not confirm the safe state, and what a person does about it."""
    table = _table("NOT SAFE: to be switched off by hand, now", "instrument", "part", "it says", "by hand", right=[])
    table.title_style = table.style = table.border_style = table.header_style = "bold red"
    for each in confirmations:
        if not each.confirmed:
            table.add_row(each.instrument, each.part, each.detail, each.by_hand)
    return table
