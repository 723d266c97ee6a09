"""Whether the fuse in the supply lead can take the run: each step alone, and steps that follow each other.

For each stretch of the run, the root mean square of the current is compared with the fuse's time-current curve. If it
lasts longer than the slowest fuse holds, the fuse *will* open, which is a hazard. If it lasts longer than the fastest
fuse holds, it *may* open, which is a warning.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.quantity import render, render_time
from benchctl.runner.expected.capability import idle_a
from benchctl.runner.expected.fuse_curve import HOLDS_RATIO, SLOWEST_S, may_open_s, will_open_s
from benchctl.runner.expected.fuse_load import FuseLoad
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.plan import PlannedStep

# Many stretches end with the same step. They are tried so many steps back: each step at first, then fewer and fewer,
# because only the logarithm of the time matters.
_SPREAD = np.unique(np.round(np.geomspace(1.0, 20_000.0, 150)).astype(int))


class Overload(NamedTuple):
    """A step at whose end the fuse may be open, or certainly is open, so that no run can finish."""

    planned: PlannedStep
    text: str
    will_open: bool


class _Stretch(NamedTuple):
    """Some steps that follow each other, and what heats the fuse in them."""

    load: FuseLoad
    steps: int = 1


def overloads(
    amplifier: Amplifier, plan: Sequence[PlannedStep], worst_cases: Sequence[WorstCase]
) -> Iterator[Overload]:
    """Every step that is too much for the fuse, by itself or together with the steps before it."""
    way = _Way(amplifier, worst_cases)
    told: set[bool] = set()
    for number, (planned, worst) in enumerate(zip(plan, worst_cases, strict=True)):
        alone = [_Stretch(load) for load in worst.fuse_loads]
        # After a stretch that certainly opens it, no later stretch is reported.
        stretch = _worst(amplifier, alone) or (None if True in told else _worst(amplifier, way.stretches_to(number)))
        if stretch is None:
            continue
        will_open = stretch.load.for_s > _will_open_s(amplifier, stretch.load)
        # A fuse opens once: stretches that end later are not reported.
        if stretch.steps == 1 or will_open not in told:
            yield Overload(planned, _in_words(amplifier, stretch, will_open=will_open), will_open)
        if stretch.steps > 1:
            told.add(will_open)


def _worst(amplifier: Amplifier, stretches: Sequence[_Stretch]) -> _Stretch | None:
    """The overload that lasts longest beyond what the fuse can take, if there is one; an overload that certainly opens
    it comes first.
    """
    opening = [stretch for stretch in stretches if stretch.load.for_s > _may_open_s(amplifier, stretch.load)]

    def severity(stretch: _Stretch) -> tuple[float, float]:
        load = stretch.load
        return load.for_s / _will_open_s(amplifier, load), load.for_s / _may_open_s(amplifier, load)

    return max(opening, key=severity, default=None)


def _may_open_s(amplifier: Amplifier, load: FuseLoad) -> float:
    return may_open_s(load.rms_a / amplifier.supply.fuse_a, amplifier.supply.fuse_type)


def _will_open_s(amplifier: Amplifier, load: FuseLoad) -> float:
    return will_open_s(load.rms_a / amplifier.supply.fuse_a, amplifier.supply.fuse_type)


class _Way:
    """The whole run as it heats the fuse: the square of the current, summed over time, at the end of each step."""

    def __init__(self, amplifier: Amplifier, worst_cases: Sequence[WorstCase]) -> None:
        idle = idle_a(amplifier, amplifier.supply.nominal_v)
        lengths_s = [_length_s(worst) for worst in worst_cases]
        squares = [_square_a2s(worst, idle) for worst in worst_cases]
        self._ends_s = np.concatenate(([0.0], np.cumsum(lengths_s)))
        self._squares = np.concatenate(([0.0], np.cumsum(squares)))
        too_much = (HOLDS_RATIO * amplifier.supply.fuse_a) ** 2
        self._is_hot = np.array([a2s > too_much * s for a2s, s in zip(squares, lengths_s, strict=True)], dtype=bool)

    def stretches_to(self, last: int) -> list[_Stretch]:
        """From each step before `last` to the end of it, where both are above what the fuse holds for hours."""
        if not self._is_hot[last]:
            return []
        end_s, end_a2s = self._ends_s[last + 1], self._squares[last + 1]
        first = int(np.searchsorted(self._ends_s, end_s - SLOWEST_S))
        hot = first + np.flatnonzero(self._is_hot[first:last])
        begins = hot[_SPREAD[hot.size >= _SPREAD] * -1]
        return [
            _Stretch(
                FuseLoad(
                    math.sqrt((end_a2s - self._squares[begin]) / (end_s - self._ends_s[begin])),
                    float(end_s - self._ends_s[begin]),
                ),
                last + 1 - begin,
            )
            for begin in begins
        ]


def _length_s(worst: WorstCase) -> float:
    return max(worst.expected_s, _loaded_s(worst))


def _loaded_s(worst: WorstCase) -> float:
    return sum(load.for_s for load in worst.fuse_loads if not load.is_part)


def _square_a2s(worst: WorstCase, idle: float) -> float:
    loaded = sum(load.rms_a**2 * load.for_s for load in worst.fuse_loads if not load.is_part)
    return loaded + idle**2 * (_length_s(worst) - _loaded_s(worst))


def _in_words(amplifier: Amplifier, stretch: _Stretch, *, will_open: bool) -> str:
    load, fuse_a = stretch.load, amplifier.supply.fuse_a
    who = "this step" if stretch.steps == 1 else f"this step and the {stretch.steps - 1} before it, pauses included,"
    part = render(load.rms_a / fuse_a, "1", digits=3)
    told = f"{who} may draw {render(load.rms_a, 'A', digits=3)} rms for {render_time(load.for_s)}"
    return (
        f"{told}, {part} of the amplifier's fuse of {render(fuse_a, 'A')}: the fuse {'will' if will_open else 'may'} "
        f"open ({_times_in_words(amplifier, load)}); lower the level, shorten the drive, or use a lighter load"
    )


def _times_in_words(amplifier: Amplifier, load: FuseLoad) -> str:
    """When fuses of its type open at that current."""
    latest_s = _will_open_s(amplifier, load)
    latest = "or not at all" if math.isinf(latest_s) else f"to {render_time(latest_s, digits=2)}"
    fuse = f"a {amplifier.supply.fuse_type or 'road-vehicle'} fuse"
    return f"at that current {fuse} opens after {render_time(_may_open_s(amplifier, load), digits=2)} {latest}"
