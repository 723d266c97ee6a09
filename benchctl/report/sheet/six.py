"""The six figures of a sheet: what an owner asks first, the worst of each, with what it was measured at."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice

from benchctl.archive.journal.entries import FiguresEntry
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.power import TOTAL
from benchctl.measure.conditions import Conditions
from benchctl.report.headline.sentence import Headline, Look
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sheet.shortened import cut
from benchctl.report.words.names import name_of, place_of
from benchctl.report.words.quantities import said, setting, with_uncertainty

MOST = 6
_LONGEST_DOUBT = 90
_Found = tuple[FiguresEntry, Figure]
_Worst = Callable[[Sequence[_Found]], _Found]


@dataclass(frozen=True)
class SheetFigure:
    """`value` with its uncertainty or as the bound it is; `at` is what it was measured at, `doubt` why it may not be
    relied on."""

    name: str
    value: str
    at: str
    doubt: str = ""
    look: Look = ""


def six_figures(run_record: RunRecord, headline: Headline) -> list[SheetFigure]:
    """The first six of the table below that the run has."""
    found = [(entry, figure) for entry in run_record.entries for figure in entry.figures if figure.channel != TOTAL]
    totals = [(entry, figure) for entry in run_record.entries for figure in entry.figures if figure.channel == TOTAL]
    chosen = _chosen([*found, *totals], headline.conditions)
    channels = run_record.amplifier.channels if run_record.amplifier else ()
    return [_shown(entry, figure, several=len(channels) > 1) for entry, figure in islice(chosen, MOST)]


def _chosen(found: Sequence[_Found], at: Conditions | None) -> Iterator[_Found]:
    for name, worst in _ASKED.items():
        own = [each for each in found if each[1].name == name and _is_telling(each)]
        of_channels = [each for each in own if each[1].channel != TOTAL] or own
        if of_channels:
            yield worst(_at_the_same(of_channels, at))


def _at_the_same(own: Sequence[_Found], at: Conditions | None) -> Sequence[_Found]:
    """Those at the load and frequency that the headline speaks of, so that the figures belong together; else all."""
    if at is None:
        return own
    same = [each for each in own if _place(each) == (at.load_ohm, at.frequency_hz)]
    return same or own


def _place(found: _Found) -> tuple[float | None, float | None]:
    entry, figure = found
    conditions = entry.conditions_of(figure)
    return conditions.load_ohm, conditions.frequency_hz


def _is_telling(found: _Found) -> bool:
    """Not the distortion that a search has set; nor what an amplifier draws that idles between bursts."""
    entry, figure = found
    if figure.name == "thd_n":
        return entry.conditions_of(figure).drive not in ("clean", "full")
    return figure.burst_cycles is None or figure.name not in ("efficiency", "supply_current")


def _lowest(own: Sequence[_Found]) -> _Found:
    return min(own, key=lambda each: each[1].value)


def _highest(own: Sequence[_Found]) -> _Found:
    return max(own, key=lambda each: each[1].value)


def _farthest(own: Sequence[_Found]) -> _Found:
    return max(own, key=lambda each: abs(each[1].value))


def _longest_burst(own: Sequence[_Found]) -> _Found:
    longest = max(figure.burst_cycles or 0 for _, figure in own)
    return _lowest([each for each in own if (each[1].burst_cycles or 0) == longest])


# Figure -> which of several is told; in the order in which an owner asks.
_ASKED: Mapping[str, _Worst] = {
    "continuous_power": _lowest,
    "held_power": _lowest,
    "stated_power": _lowest,
    "burst_power_clean": _longest_burst,
    "thd_n": _highest,
    "efficiency": _lowest,
    "idle_current": _highest,
    "dc_offset": _farthest,
    "output_noise_a_weighted": _highest,
    "signal_to_noise_rated": _lowest,
    "final_heatsink_temperature": _highest,
    "ramp_voltage": _lowest,
    "lower_band_edge": _highest,
    "upper_band_edge": _lowest,
    "low_pass_corner": _highest,
    "high_pass_corner": _lowest,
    "damping_factor": _lowest,
    "crosstalk": _highest,
    "gain": _lowest,
    "channel_balance": _farthest,
    "slew_rate": _lowest,
    "turn_on_thump": _farthest,
    "inrush_current": _highest,
    "supply_current": _highest,
    "ramp_current": _highest,
    "lowest_playing_voltage": _highest,
}


def _shown(entry: FiguresEntry, figure: Figure, *, several: bool) -> SheetFigure:
    channel = f"channel {figure.channel}" if several and figure.channel not in ("", TOTAL) else ""
    is_alone = figure.expanded_uncertainty is None and not figure.bound
    doubt = figure.contradiction or figure.bound_reason or ("its uncertainty is not known" if is_alone else "")
    return SheetFigure(
        name=name_of(figure),
        value=said(figure) if figure.bound else with_uncertainty(figure),
        at=", ".join(filter(None, [channel, *_at(entry, figure)])),
        doubt=cut(doubt, _LONGEST_DOUBT),
        look="untold" if figure.contradiction or figure.bound else "",
    )


def _at(entry: FiguresEntry, figure: Figure) -> Iterator[str]:
    """Load, frequency and supply; nothing of it for what is measured without a signal."""
    conditions = entry.conditions_of(figure)
    if conditions.drive not in ("", "undriven"):
        yield place_of(conditions)
    if conditions.supply_set_v is not None:
        yield f"at {setting(conditions.supply_set_v, 'V')}"
