"""The closing tables of a run, made from its figures."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text
from uncertainties import ufloat

from benchctl.archive.entries import FiguresEntry
from benchctl.documents.amplifier import Amplifier
from benchctl.measure.figure import Figure
from benchctl.quantity import render

_STYLES = {"passes": "green", "fails": "bold red", "cannot be told": "yellow"}
TOTAL = "total"


def closing_tables(entries: Sequence[FiguresEntry], amplifier: Amplifier) -> RenderableType:
    """What was measured: idle, output power per channel, full drive, and supply draw."""
    tables = [
        _idle_table(entries),
        _power_table(entries, amplifier),
        _full_drive_table(entries),
        _supply_table(entries),
    ]
    return Group(*(table for table in tables if table.row_count))


def value_in_words(figure: Figure) -> str:
    """A value with its expanded uncertainty to two digits, or as the bound it is; ratios in per cent."""
    factor = 100.0 if figure.unit == "1" and figure.name != "crest_factor" else 1.0
    value, uncertainty = figure.value * factor, (figure.expanded_uncertainty or 0.0) * factor
    if figure.bound:
        return f"{'≤' if figure.bound == 'at most' else '≥'} {value:.3g}"
    if not uncertainty:
        return f"{value:.4g}"
    return f"{ufloat(value, uncertainty):.2u}".replace("+/-", " ± ")


def _cell(figures: Sequence[Figure], name: str, channel: str = "") -> Text:
    """The last figure of that name and channel, in the colour of its verdict."""
    found = [figure for figure in figures if figure.name == name and figure.channel == channel]
    return Text(value_in_words(found[-1]), style=_STYLES.get(found[-1].verdict, "")) if found else Text("")


def _table(title: str, *columns: str, right: Sequence[str]) -> Table:
    table = Table(title=title, title_justify="left", title_style="bold")
    for column in columns:
        table.add_column(column)
    for column in right:
        table.add_column(column, justify="right")
    return table


def _idle_table(entries: Sequence[FiguresEntry]) -> Table:
    table = _table("Idle", "figure", "channel", right=["value", "unit", "verdict"])
    for figure in (figure for entry in entries if entry.analysis == "idle" for figure in entry.figures):
        unit = "%" if figure.unit == "1" else figure.unit
        verdict = Text(figure.verdict, style=_STYLES.get(figure.verdict, ""))
        table.add_row(figure.name, figure.channel, value_in_words(figure), unit, verdict)
    return table


def _conditions(entry: FiguresEntry) -> tuple[str, str]:
    load_ohm, frequency_hz = entry.conditions.load_ohm, entry.conditions.frequency_hz
    return (
        render(load_ohm, "ohm") if load_ohm else "",
        render(frequency_hz, "Hz") if frequency_hz else "",
    )


def _groups(entries: Sequence[FiguresEntry]) -> Iterator[tuple[tuple[str, str], list[FiguresEntry]]]:
    """Entries under the same load and frequency, in the order in which these first came."""
    driven = [entry for entry in entries if entry.analysis != "idle"]
    for conditions in dict.fromkeys(_conditions(entry) for entry in driven):
        yield conditions, [entry for entry in driven if _conditions(entry) == conditions]


def _cycles(entries: Sequence[FiguresEntry]) -> list[int]:
    found = {figure.burst_cycles for entry in entries for figure in entry.figures if figure.burst_cycles}
    return sorted(found)


def burst_in_words(cycles: int) -> str:
    """A length of burst: 1 cycle, 8 cycles."""
    return f"{cycles} cycle{'s' if cycles > 1 else ''}"


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
        "load",
        "burst",
        "channel",
        right=[*powers, "droop, %", "peak, V"],
    )
    for (load, _), group in _groups(entries):
        figures = [figure for entry in group for figure in entry.figures]
        for cycles in _cycles(group):
            of_length = _of_length(figures, cycles)
            for channel in _channels(of_length):
                cells = [_cell(of_length, f"burst_power_{which}", channel) for which in powers]
                others = [_cell(of_length, name, channel) for name in ("droop", "output_peak")]
                table.add_row(load, burst_in_words(cycles), channel, *cells, *others)
        table.add_section()
    return table


def _supply_table(entries: Sequence[FiguresEntry]) -> Table:
    names = ("supply_current", "supply_current_peak", "supply_voltage", "efficiency", "heatsink_temperature")
    table = _table(
        "Supply and heat",
        "load",
        "drive",
        right=["current, A", "peak, A", "voltage, V", "efficiency, %", "heatsink, degC"],
    )
    for (load, _), group in _groups(entries):
        figures = [figure for entry in group for figure in entry.figures]
        for cycles in [*_cycles(group), None]:
            of_length = _of_length(figures, cycles)
            if of_length:
                drive = burst_in_words(cycles) if cycles else "continuous"
                table.add_row(load, drive, *(_cell(of_length, name) for name in names))
        table.add_section()
    return table
