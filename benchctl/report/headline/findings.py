"""What a run without any power is known by: up to three figures, the worst of each, in the order of this table."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

from benchctl.archive.journal.entries import FiguresEntry
from benchctl.documents.model.figures import figure_in_words
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.power import TOTAL
from benchctl.report.headline.sentence import Clause, Number
from benchctl.report.words.names import place_of
from benchctl.report.words.quantities import said

_MOST = 3
_Worst = Callable[[Sequence[Figure]], Figure]


def _highest(figures: Sequence[Figure]) -> Figure:
    return max(figures, key=lambda figure: figure.value)


def _lowest(figures: Sequence[Figure]) -> Figure:
    return min(figures, key=lambda figure: figure.value)


def _farthest(figures: Sequence[Figure]) -> Figure:
    return max(figures, key=lambda figure: abs(figure.value))


# Figure -> which of several values is the worst.
_TELLING: Mapping[str, _Worst] = {
    "ramp_voltage": _lowest,
    "ramp_current": _highest,
    "final_heatsink_temperature": _highest,
    "held_power": _lowest,
    "fuse_load": _highest,
    "turn_on_thump": _farthest,
    "turn_off_thump": _farthest,
    "inrush_current": _highest,
    "idle_current": _highest,
    "dc_offset": _farthest,
    "output_noise_a_weighted": _highest,
    "signal_to_noise_rated": _lowest,
    "low_pass_corner": _highest,
    "high_pass_corner": _lowest,
    "lower_band_edge": _highest,
    "upper_band_edge": _lowest,
    "damping_factor": _lowest,
    "slew_rate": _lowest,
    "modulation_distortion_2": _highest,
    "difference_distortion_2": _highest,
    "thd_n": _highest,
    "input_sensitivity": _highest,
    "gain_error": _farthest,
    "input_impedance": _lowest,
    "lowest_playing_voltage": _highest,
    "gain": _lowest,
}


def finding_of(figures: Sequence[Figure]) -> Clause | None:
    """What was found, of figures that tell anything; None where there are none."""
    found = list(_found(figures))[:_MOST]
    if not found:
        return None
    return Clause("finding", ", ".join(text for text, _ in found), tuple(number for _, number in found))


def _found(figures: Sequence[Figure]) -> Iterator[tuple[str, Number]]:
    for name, worst in _TELLING.items():
        own = [figure for figure in figures if figure.name == name and figure.channel != TOTAL]
        if own:
            number, text = _said(own, worst)
            yield f"{figure_in_words(name)} {text}", number


def _said(own: Sequence[Figure], worst: _Worst) -> tuple[Number, str]:
    """The worst, and on which side of it the others are."""
    figure = worst(own)
    text = said(figure)
    if len({said(each) for each in own}) == 1 or any(each.bound for each in own):
        return Number(text, figure), text
    if worst is _farthest:
        text = text.removeprefix("-")
        return Number(text, figure), f"within {text}"
    return Number(text, figure), f"{text} or {'more' if worst is _lowest else 'less'}"


def protected_of(entry: FiguresEntry) -> Clause:
    """That the amplifier protected itself: at what power or down to which, into what, and after how long."""
    prefix, text, at = _PROTECTED[entry.analysis]
    powers = [figure for figure in entry.figures if figure.name == f"{prefix}_power" and figure.channel != TOTAL]
    times = [figure for figure in entry.figures if figure.name == f"{prefix}_time"]
    numbers = []
    for word, found, behind in ((at, powers, place_of(entry.conditions)), ("after", times, "")):
        if found:
            numbers.append(Number(said(_lowest(found)), _lowest(found)))
            text = " ".join(filter(None, [text, word, numbers[-1].text, behind]))
    return Clause("protected", text, tuple(numbers), "untold")


# Analysis -> how its figures' names begin, what happened, and what stands before the power.
_PROTECTED: Mapping[str, tuple[str, str, str]] = {
    "protection": ("protection", "the amplifier fell silent by itself", "at"),
    "fold_back": ("fold_back", "the amplifier turned itself down", "to"),
}
