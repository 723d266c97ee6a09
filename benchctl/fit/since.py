"""What has changed since an earlier run of the same unit: sentences with figures, the most certain first."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from benchctl.fit.examination import Examination
from benchctl.fit.findings import quantity_in_words
from benchctl.fit.told import Quantity


class Meaning(NamedTuple):
    """What a fall and what a rise of a quantity may mean; '' where it says nothing by itself."""

    less: str
    more: str


MEANINGS: Mapping[str, Meaning] = {
    "reservoir": Meaning("capacitors of the reservoir have aged, or one is open", "capacitors are new or larger"),
    "rail_stiffness": Meaning(
        "the converter was repaired; age does not lower this, so look first at what the model does not explain",
        "windings, rectifiers or joints of the converter resist more",
    ),
    "headroom": Meaning("the rails are lower, or the output stages leave more of them", ""),
    "rail": Meaning("the rails are lower", "the rails are higher"),
    "saturation": Meaning("", "the output stages leave more of the rails"),
    "converter_efficiency": Meaning("the converter loses more", ""),
    "input_ratio": Meaning("", "the converter loses more, or its ratio is higher"),
    "output_resistance": Meaning("", "a joint, relay contact or track in an output resists more"),
    "conduction_resistance": Meaning("", "devices or coils of the output stage resist more"),
    "gain": Meaning("a control is lower, or a part of the signal's path has failed", "a control is higher"),
    "heatsink_resistance": Meaning(
        "the heatsink is cooled better", "a fan stands still, the air cannot pass, or the heatsink is dirty"
    ),
    "heatsink_lag": Meaning("", "a dry pad or a loose screw keeps the heat from the heatsink"),
    "idle_current": Meaning("a bias is lower, or a stage is dead", "a bias is higher, or something leaks"),
}


@dataclass(frozen=True)
class Change:
    """One quantity that has changed beyond the uncertainty of both runs; `times` that uncertainty."""

    quantity: Quantity
    before: Quantity
    times: float
    sentence: str


def changes(before: Examination, after: Examination) -> tuple[Change, ...]:
    """The most certain first. Errors that both runs share count in both, so that a small change may go untold."""
    return tuple(sorted(_changes(before, after), key=lambda change: -change.times))


def _changes(before: Examination, after: Examination) -> Iterator[Change]:
    earlier = {(each.name, each.channel): each for each in before.quantities if each.is_told}
    for quantity in after.quantities:
        known = earlier.get((quantity.name, quantity.channel))
        if known is not None and quantity.is_told and (change := change_of(known, quantity)) is not None:
            yield change


def change_of(before: Quantity, now: Quantity) -> Change | None:
    """Of one quantity; None where no change is seen beyond the uncertainty of both."""
    combined = math.hypot(now.expanded_uncertainty, before.expanded_uncertainty)
    times = abs(now.value - before.value) / combined
    return Change(now, before, times, _sentence(now, before)) if times > 1.0 else None


def _sentence(now: Quantity, before: Quantity) -> str:
    less = now.value < before.value
    meaning = MEANINGS.get(now.name, Meaning("", ""))
    reason = meaning.less if less else meaning.more
    size = _size(now, before)
    told = f"{now.words}: {quantity_in_words(now)}, {quantity_in_words(before)} before{size}"
    return f"{told}; it may be that {reason}" if reason else told


def _size(now: Quantity, before: Quantity) -> str:
    """In percent, where that says something: not of a dc that may have any sign."""
    if now.value <= 0.0 or before.value <= 0.0:
        return ""
    percent = 100.0 * (now.value / before.value - 1.0)
    if abs(percent) > 100.0:
        return f" ({now.value / before.value:.1f} times)" if percent > 0.0 else ""
    return f" ({abs(percent):.2g} % {'less' if percent < 0.0 else 'more'})"
