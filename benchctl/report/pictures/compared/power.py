"""Clean power of all runs: against the length of burst, and against frequency or supply voltage where swept."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from matplotlib.axes import Axes

from benchctl.measure.budget.power import TOTAL
from benchctl.quantity import render
from benchctl.report.comparison.compared import Comparison
from benchctl.report.pictures.canvas import Picture, drawing, legend, quantities, svg_of
from benchctl.report.pictures.compared.curves import COLUMNS, Curve, bounds_in_words, draw, legend_lines, told
from benchctl.report.sections.rated_power import Length, PowerRow, length_in_words, power_rows

_FEWEST = 3  # frequencies or voltages
_MOST = 3  # loads


@dataclass(frozen=True)
class _Axis:
    """What power is drawn against; `places` where these are no numbers."""

    what: str
    unit: str = ""
    places: tuple[str, ...] = ()


_Row = tuple[int, str, PowerRow]  # the run, its name, and a row of its powers


def power_overlays(comparison: Comparison) -> Iterator[Picture]:
    """For each load that several runs have clean power at: against frequency, supply voltage and length of burst."""
    rows = list(_rows(comparison))
    loads = list(dict.fromkeys(row.conditions.load_ohm for _, _, row in rows))
    shared = [load for load in loads if len({run for run, _, row in rows if row.conditions.load_ohm == load}) > 1]
    for number, load_ohm in enumerate(shared[:_MOST], start=1):
        own = [each for each in rows if each[2].conditions.load_ohm == load_ohm]
        for axis, value in _SWEPT:
            if curves := _swept(own, value):
                yield _picture(axis, curves, load_ohm, f"power-by-{axis.what.split()[0]}-{number}")
        lengths, curves = _by_length(own)
        if curves:
            yield _picture(_Axis("length of burst", places=lengths), curves, load_ohm, f"power-by-length-{number}")


def _rows(comparison: Comparison) -> Iterator[_Row]:
    for run, (name, run_record) in enumerate(zip(comparison.names.each, comparison.run_records, strict=True)):
        for row in power_rows(run_record.entries, run_record.amplifier):
            if row.is_clean and row.channel != TOTAL and row.turn == 1:
                yield run, name, row


_SWEPT: tuple[tuple[_Axis, Callable[[PowerRow], float | None]], ...] = (
    (_Axis("frequency", "Hz"), lambda row: row.conditions.frequency_hz),
    (_Axis("supply voltage", "V"), lambda row: row.conditions.supply_set_v),
)


def _swept(rows: Sequence[_Row], value: Callable[[PowerRow], float | None]) -> list[Curve]:
    """A curve for each run and channel over all its steady tones, if two runs have enough of them."""
    found: dict[tuple[int, str, str], dict[float, PowerRow]] = {}
    for run, name, row in rows:
        if (at := value(row)) and None in row.by_length:
            found.setdefault((run, name, row.channel), {}).setdefault(at, row)
    curves = [
        Curve(*of, [(at, row.by_length[None]) for at, row in points.items()])
        for of, points in found.items()
        if len(points) >= _FEWEST
    ]
    return curves if len({curve.run for curve in curves}) > 1 else []


def _by_length(rows: Sequence[_Row]) -> tuple[tuple[str, ...], list[Curve]]:
    """The lengths of all runs in order, and a curve for each run and channel at the conditions that they share."""
    shared = _first_shared(rows)
    own = [each for each in rows if _apart_from_driven(each[2]) == shared]
    lengths: list[Length] = sorted(
        {length for _, _, row in own for length in row.by_length}, key=lambda length: (length is None, length or 0)
    )
    curves = [
        Curve(run, name, row.channel, [(float(lengths.index(length)), f) for length, f in row.by_length.items()])
        for run, name, row in own
    ]
    if len({curve.run for curve in curves}) < 2 or len(lengths) < 2:
        return (), []
    return tuple(length_in_words(length) for length in lengths), curves


def _apart_from_driven(row: PowerRow) -> object:
    return replace(row.conditions, driven=())


def _first_shared(rows: Sequence[_Row]) -> object:
    runs = {run for run, _, _ in rows}
    kinds = dict.fromkeys(_apart_from_driven(row) for _, _, row in rows)
    return next(
        (kind for kind in kinds if {run for run, _, row in rows if _apart_from_driven(row) == kind} == runs), None
    )


def _picture(axis: _Axis, curves: Sequence[Curve], load_ohm: float | None, name: str) -> Picture:
    at = f" into {render(load_ohm, 'ohm')}" if load_ohm else ""
    title = f"Clean power{at} against {axis.what}"
    alt = f"{title}. {' '.join(told(curves))}"
    with drawing(panel_in=2.6, legend_lines=legend_lines(curves)) as (figure, (axes,)):
        draw(axes, curves, is_apart=bool(axis.places))
        _scale(axes, axis, max(f.value + (f.expanded_uncertainty or 0.0) for each in curves for _, f in each.points))
        legend(figure, axes, COLUMNS)
        svg = svg_of(figure, name, alt)
    return Picture(name, title, f"Bars, bands: value ± U. {bounds_in_words(curves)}".rstrip(), alt, svg)


def _scale(axes: Axes, axis: _Axis, highest_w: float) -> None:
    """Watts from nought: half as much shall look like half as much."""
    axes.set(ylabel="clean power, W", ylim=(0.0, 1.1 * highest_w))
    if axis.places:
        axes.set_xlim(-0.5, len(axis.places) - 0.5)
        axes.set_xticks(range(len(axis.places)), axis.places)
        return
    axes.set(xlabel=f"{axis.what}, {axis.unit}", xscale="log" if axis.unit == "Hz" else "linear")
    axes.xaxis.set_major_formatter(quantities(axis.unit))
    axes.minorticks_off()
