"""Records in which the supply limited its current, so that its voltage fell: the model knows no such supply."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from benchctl.fit.reading.items import CURRENT, METER_VOLTAGE, VOLTAGE, Take
from benchctl.quantity import render

LEAST_FALL = 0.01
"""Of the voltage that was set: a smaller fall is no limit."""

TIMES_PATH = 3.0
"""A fall that is so many times what leads and supply make of the current elsewhere is a limit."""

DOUBT = 0.5
"""Of a step of the converter: so much a difference of two of its means may be off (common practice)."""

SHOWN = 0.97
"""Of the voltage that was set: where the supply itself shows less, it limits."""


class Fall(NamedTuple):
    """By how much the voltage at the terminals fell under a tone, how far that may be off, and what the current rose
    by."""

    fall_v: float
    doubt_v: float
    rise_a: float

    @property
    def least_ohm(self) -> float:
        """The least resistance that would explain it."""
        return (self.fall_v - self.doubt_v) / self.rise_a

    @property
    def most_ohm(self) -> float:
        """The most."""
        return (self.fall_v + self.doubt_v) / self.rise_a


def limited(takes: Sequence[Take]) -> dict[int, str]:
    """The numbers of such takes, each with a sentence."""
    falls = dict(_falls(takes))
    path_ohm = min((max(fall.most_ohm, 0.0) for fall in falls.values()), default=0.0)
    found = {}
    for number, take in enumerate(takes):
        fall_v = _limited_by_v(take, falls.get(number), path_ohm)
        if fall_v is not None:
            found[number] = (
                f"{take.name}: the supply limited its current, and its voltage fell by {render(fall_v, 'V')}"
            )
    return found


def _limited_by_v(take: Take, fall: Fall | None, path_ohm: float) -> float | None:
    if take.shape != "rest" and METER_VOLTAGE in take.items:
        shown_v = float(take.items[METER_VOLTAGE].values[0])
        if shown_v < SHOWN * take.supply_v:
            return take.supply_v - shown_v
    if fall is None or fall.fall_v < LEAST_FALL * take.supply_v:
        return None
    return fall.fall_v if fall.least_ohm > TIMES_PATH * path_ohm else None


def _falls(takes: Sequence[Take]) -> Iterator[tuple[int, Fall]]:
    rests = [take for take in takes if take.shape == "rest" and {CURRENT, VOLTAGE} <= take.items.keys()]
    for number, take in enumerate(takes):
        if take.shape == "rest" or not {CURRENT, VOLTAGE} <= take.items.keys():
            continue
        there = (rest for rest in rests if rest.supply_v == take.supply_v)
        before = take if take.shape == "burst" else next(there, None)
        if before is None:
            continue
        rise_a = float(take.items[CURRENT].values.max() - before.items[CURRENT].values[0])
        if rise_a > 0.0:
            voltage = take.items[VOLTAGE]
            fall_v = float(before.items[VOLTAGE].values[0] - voltage.values.min())
            yield number, Fall(fall_v, DOUBT * voltage.scale.step, rise_a)
