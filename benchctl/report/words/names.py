"""Names as people say them; the machine's name of a figure stays behind, for whoever looks for it in figures.csv."""

from __future__ import annotations

from collections.abc import Sequence

from benchctl.documents.model.figures import figure_in_words
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.words import burst_in_words
from benchctl.measure.conditions import Conditions
from benchctl.report.words.quantities import setting

_COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight")


def name_of(figure: Figure) -> str:
    """What a figure is called: clean burst power for 8 cycles."""
    burst = f", {burst_in_words(figure.burst_cycles)}" if figure.burst_cycles else ""
    return f"{figure_in_words(figure.name)}{burst}"


def with_channel(figure: Figure) -> str:
    """The same with its channel: continuous power of A."""
    return f"{name_of(figure)} of {figure.channel}" if figure.channel else name_of(figure)


def count_in_words(count: int) -> str:
    """A small number as a word, others in digits."""
    return _COUNTS[count] if count < len(_COUNTS) else str(count)


def listed(names: Sequence[str]) -> str:
    """A; A and B; A, B and C."""
    *others, last = names
    return f"{', '.join(others)} and {last}" if others else last


def length_for(cycles: int) -> str:
    """As in 193 W for one cycle."""
    return f"{count_in_words(cycles)} cycle{'s' if cycles > 1 else ''}"


def place_of(conditions: Conditions) -> str:
    """Load and frequency, as behind a power: into 4 ohm at 80 Hz; the usual 1 kHz is not said."""
    load = f"into {setting(conditions.load_ohm, 'ohm')}" if conditions.load_ohm else ""
    is_usual = conditions.frequency_hz is None or abs(conditions.frequency_hz - 1000.0) < 1.0
    at = "" if is_usual else f"at {setting(conditions.frequency_hz or 0.0, 'Hz')}"
    return " ".join(filter(None, [load, at]))
