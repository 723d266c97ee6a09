"""What to expect of each step: how long it takes, what it draws, and how warm the heatsink is at its end."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from benchctl.measure.signal.thermal import Curve

# This many points draw a curve well in any terminal or picture.
POINTS = 200


@dataclass(frozen=True)
class ExpectedStep:
    """One step from its beginning, counted from that of the run, to its end.

    Attributes:
        begins_s, duration_s: when, and how long.
        energy_j: from the supply.
        supply_a, peak_a: its mean and its highest current.
        read_a, unbroken_s: the highest current that the supply reads, and how long it does without a pause.
        supply_v: what the supply is set to at its end; None where it is off.
        heatsink: its temperature, with t = 0 at the step's beginning.
    """

    begins_s: float
    duration_s: float
    energy_j: float
    supply_a: float
    peak_a: float
    read_a: float
    unbroken_s: float
    supply_v: float | None
    heatsink: Curve

    @property
    def ends_s(self) -> float:
        """When the next step begins."""
        return self.begins_s + self.duration_s

    @property
    def heatsink_c(self) -> float:
        """At its end."""
        return self.heatsink.temperature_c(self.duration_s)

    @property
    def hottest_c(self) -> float:
        """The highest temperature in the step. Within a step the heatsink only rises or only falls."""
        return max(self.heatsink.now_c, self.heatsink_c)


@dataclass(frozen=True)
class Instant:
    """What to expect at one time of the run: the highest supply current of the step, and the heatsink."""

    time_s: float
    peak_a: float
    heatsink_c: float


def series(steps: Sequence[ExpectedStep]) -> tuple[Instant, ...]:
    """Highest current and heatsink against time: both ends of each step, and points between in the longer ones."""
    total_s = steps[-1].ends_s if steps else 0.0
    instants = []
    for step in steps:
        if step.duration_s <= 0.0:
            continue
        parts = max(1, math.ceil(POINTS * step.duration_s / total_s))
        for part in range(parts + 1):
            from_start_s = step.duration_s * part / parts
            heatsink_c = step.heatsink.temperature_c(from_start_s)
            instants.append(Instant(step.begins_s + from_start_s, step.peak_a, heatsink_c))
    return tuple(instants)
