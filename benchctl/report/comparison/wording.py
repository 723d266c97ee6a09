"""A change in words: 20 % more, 3.8 dB less, 4.4 times as large."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import replace

from benchctl.archive.changes import Change
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.words import said_to_combine, unit_in_words
from benchctl.report.words.quantities import spoken

_AMOUNT = re.compile(r"(?P<before>(?:at least )?)(?P<amount>[\d.]+)(?P<behind> .*)")
_MANY_TIMES = 2.0
_WORDS = {"W": ("more", "less"), "A": ("more", "less"), "V": ("larger", "smaller")}
_TIMES = {"more": "as much", "larger": "as large", "higher": "as high"}
_AS_DIFFERENCE = frozenset({"dB", "%", "deg", "degC"})


def change_in_words(change: Change) -> str:
    """By how much the later figure is more or less; of a bound, by how much at least. Nothing where one is missing."""
    if change.before is None or change.after is None:
        return ""
    before, after = _nearest(change.before, change.after)
    words = _difference(before, after) if _is_difference(before, after) else _ratio(before.value, after.value, before)
    return f"at least {words}" if change.before.bound or change.after.bound else words


def changes_in_words(changes: Sequence[Change]) -> str:
    """Of several channels at one place: 24 % more; 75 to 77 % more where they changed by other amounts."""
    words = list(dict.fromkeys(filter(None, map(change_in_words, changes))))
    found = [match for each in words if (match := _AMOUNT.fullmatch(each))]
    if len(found) < len(words) or len({(match["before"], match["behind"]) for match in found}) != 1:
        return " and ".join(words)
    amounts = sorted((match["amount"] for match in found), key=float)
    return f"{found[0]['before']}{' to '.join(dict.fromkeys([amounts[0], amounts[-1]]))}{found[0]['behind']}"


def size_of(change: Change) -> float:
    """How large a change is, from 0 to 1, to sort changes of all kinds: as a share of the larger value, or of a whole
    turn."""
    if change.before is None or change.after is None:
        return 1.0
    before, after = _nearest(change.before, change.after)
    largest = math.tau if after.unit == "rad" else max(abs(before.value), abs(after.value))
    return min(1.0, abs(after.value - before.value) / largest) if largest else 0.0


def _nearest(before: Figure, after: Figure) -> tuple[Figure, Figure]:
    """As near as the two can be: beside a bound, a value's near end."""
    if before.bound:
        return before, _end_towards(after, before)
    if after.bound:
        return _end_towards(before, after), after
    return before, after


def _end_towards(value: Figure, bound: Figure) -> Figure:
    uncertainty = value.expanded_uncertainty or 0.0
    return replace(value, value=value.value + math.copysign(uncertainty, bound.value - value.value))


def _is_difference(before: Figure, after: Figure) -> bool:
    """Whether a ratio would say nothing: of decibels, shares and temperatures, and across nought."""
    return unit_in_words(before) in _AS_DIFFERENCE or before.value * after.value <= 0.0


def _difference(before: Figure, after: Figure) -> str:
    (was, was_uncertain), (now, now_uncertain) = said_to_combine(before), said_to_combine(after)
    unit = unit_in_words(before)
    more, less = ("more", "less") if unit in {"dB", "%"} else ("higher", "lower")
    unit = "percentage points" if unit == "%" else unit
    difference = spoken(abs(now - was), unit, math.hypot(was_uncertain, now_uncertain))
    return f"{difference} {more if now > was else less}"


def _ratio(was: float, now: float, figure: Figure) -> str:
    more, less = _WORDS.get(figure.unit, ("higher", "lower"))
    ratio = abs(now) / abs(was)
    if ratio > _MANY_TIMES:
        return f"{ratio:.{0 if ratio >= 10.0 else 1}f} times {_TIMES[more]}"
    percent = 100.0 * abs(ratio - 1.0)
    return f"{percent:.{0 if percent >= 10.0 else 1}f} % {more if ratio > 1.0 else less}"
