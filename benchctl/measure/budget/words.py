"""A figure in words: its value rounded to what its uncertainty supports, in the unit that the trade says it in."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from uncertainties import ufloat

from benchctl.measure.budget.figure import Figure, u_to_combine

# Ratios of voltages that the trade says in decibels, and ratios that it says as a number; the others are in per cent.
_IN_DECIBELS = frozenset(
    {
        "gain",
        "channel_balance",
        "crosstalk",
        "fold_back_gain",
        "gain_linearity",
        "signal_to_noise_1w",
        "signal_to_noise_rated",
    }
)
_AS_NUMBERS = frozenset({"crest_factor", "damping_factor", "low_pass_order", "high_pass_order", "polarity"})
# Figures that the trade says with a prefix -> what one of its units is.
_WITH_PREFIX: Mapping[str, tuple[str, float]] = {
    "rise_time": ("us", 1e-6),
    "slew_rate": ("V/us", 1e6),
    "input_impedance": ("kohm", 1e3),
    "ringing_frequency": ("kHz", 1e3),
}


def value_in_words(figure: Figure) -> str:
    """A value with its expanded uncertainty to two digits, or as the bound it is; the unit is `unit_in_words`."""
    value, uncertainty = as_said(figure)
    if figure.bound:
        said = f"{value:.3g}" if abs(value) < 1000.0 else f"{value:.0f}"
        return f"{'≤' if figure.bound == 'at most' else '≥'} {said}"
    if not uncertainty:
        return f"{value:.4g}"
    return rounded(value, uncertainty)


def rounded(value: float, uncertainty: float) -> str:
    """A value and its uncertainty, above nought, to two digits of the uncertainty."""
    return f"{ufloat(value, uncertainty):.2uf}".replace("+/-", " ± ")


def unit_in_words(figure: Figure) -> str:
    """The unit that `value_in_words` tells the figure in."""
    if figure.unit == "rad":
        return "deg"
    if figure.unit != "1":
        return _WITH_PREFIX.get(figure.name, (figure.unit, 1.0))[0]
    if figure.name in _IN_DECIBELS:
        return "dB"
    return "" if figure.name in _AS_NUMBERS else "%"


def as_said(figure: Figure) -> tuple[float, float]:
    """Value and expanded uncertainty in the unit they are told in; nought where the uncertainty is not known."""
    value, uncertainty = figure.value, figure.expanded_uncertainty or 0.0
    match unit_in_words(figure):
        case "%":
            return 100.0 * value, 100.0 * uncertainty
        case "deg":
            return math.degrees(value), math.degrees(uncertainty)
        case "dB" if value > 0:
            return 20.0 * math.log10(value), 20.0 / math.log(10.0) * uncertainty / value
        case _:
            _, one = _WITH_PREFIX.get(figure.name, ("", 1.0))
            return value / one, uncertainty / one


def burst_in_words(cycles: int) -> str:
    """A length of burst: 1 cycle, 8 cycles."""
    return f"{cycles} cycle{'s' if cycles > 1 else ''}"


def inconclusive_in_words(figure: Figure) -> str:
    """A figure whose verdict is inconclusive, with what is known of it and, of a bound, why no more is."""
    reason = f" ({figure.bound_reason})" if figure.bound_reason else ""
    return figure_in_words(figure) + reason


def figure_in_words(figure: Figure) -> str:
    """Its name, whose it is, and its value."""
    of = f" of {figure.channel}" if figure.channel else ""
    burst = f" at {burst_in_words(figure.burst_cycles)}" if figure.burst_cycles else ""
    known = " ".join(filter(None, [value_in_words(figure), unit_in_words(figure)]))
    return f"{figure.name}{of}{burst} {known}"


def verdicts_in_words(passes: int, fails: int, inconclusive: int, unmeasured: int = 0, contradicted: int = 0) -> str:
    """How many verdicts there are of each kind, how many steps lack figures, and how many figures rest on a
    contradiction: 7 verdicts pass, 1 fails."""
    counts = [
        (passes, "verdict passes", "verdicts pass"),
        (fails, "fails", "fail"),
        (inconclusive, "inconclusive", "inconclusive"),
        (unmeasured, "step lacks figures", "steps lack figures"),
        (
            contradicted,
            "figure depends on instruments that contradict each other",
            "figures depend on instruments that contradict each other",
        ),
    ]
    words = [f"{count} {one if count == 1 else many}" for count, one, many in counts if count]
    return ", ".join(words) if words else "no verdict was asked for"


def difference_in_words(before: Figure, after: Figure) -> str:
    """By how much a figure has become more, with the uncertainty of the difference; nothing beside a bound.

    The uncertainties count as independent; the unit is `unit_in_words`.
    """
    if before.bound or after.bound:
        return ""
    (was, was_uncertain), (now, now_uncertain) = said_to_combine(before), said_to_combine(after)
    uncertainty = math.hypot(was_uncertain, now_uncertain)
    difference = now - was
    words = rounded(difference, uncertainty) if uncertainty else f"{difference:.4g}"
    return words if words.startswith("-") else f"+{words}"


def said_to_combine(figure: Figure) -> tuple[float, float]:
    """Value and uncertainty as they are said, where that is put together with the uncertainty of another figure."""
    return as_said(replace(figure, expanded_uncertainty=u_to_combine(figure)))
