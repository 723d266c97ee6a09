"""The recent past: the rail's curve, step by step, for as long as a record may still need it."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchctl.simulator.amplifier.rails.means import RailCurve, Step
from benchctl.simulator.amplifier.thump import Pulse
from benchctl.simulator.generator_signal import Tone
from benchctl.simulator.hardware.input_capacitor import Charging

Samples = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of time in which circuit and tone did not change."""

    start_s: float
    run: RailCurve
    tone: Tone
    pulse: Pulse | None = None
    """the thump that may still be heard"""
    charging: Charging | None = None
    """of the capacitor across the amplifier's supply terminals, where it has one"""

    @property
    def end_s(self) -> float:
        """When it ended."""
        return self.start_s + self.run.seconds

    def terminals(self, step: Step, times_s: Samples) -> tuple[Samples, Samples]:
        """Voltage at the amplifier's terminals and the supply's current, at times of the curve that lie in one step."""
        if self.charging is None:
            return step.terminals(times_s)
        terminal_v, supply_a, _ = self.charging.at(self.run, times_s)
        return terminal_v, supply_a

    def steps_within(self, from_s: float, to_s: float) -> Iterator[tuple[Step, float, float]]:
        """The steps that reach into a window, and from when to when, in the time of the run."""
        first_s, last_s = from_s - self.start_s, to_s - self.start_s
        for step in self.run.steps:
            start_s, end_s = max(first_s, step.start_s), min(last_s, step.end_s)
            if end_s > start_s:
                yield step, start_s, end_s


class SupplyMeans(NamedTuple):
    """Means over a window, at the supply's own terminals."""

    voltage_v: float
    current_a: float


class History:
    """Spans in the order of time, without gaps."""

    def __init__(self) -> None:
        self._spans: deque[Stretch] = deque()

    def append(self, span: Stretch) -> None:
        """Add the newest."""
        self._spans.append(span)

    def forget_before(self, time_s: float) -> None:
        """Drop what ended before `time_s`."""
        while self._spans and self._spans[0].end_s < time_s:
            self._spans.popleft()

    def between(self, from_s: float, to_s: float) -> tuple[Stretch, ...]:
        """The spans that overlap a window, oldest first."""
        return tuple(reversed(list(self._newest_first(from_s, to_s))))

    def supply_means(self, from_s: float, to_s: float) -> SupplyMeans | None:
        """What the supply gave in a window, or None if nothing of it is remembered."""
        seconds = volt_seconds = ampere_seconds = 0.0
        for span in self._newest_first(from_s, to_s):
            for step, start_s, end_s in span.steps_within(from_s, to_s):
                step_vs, step_as = step.supply_sums(start_s, end_s)
                if span.charging is not None:
                    step_as += span.charging.taken_as(span.run, start_s, end_s)
                seconds += end_s - start_s
                volt_seconds += step_vs
                ampere_seconds += step_as
        return SupplyMeans(volt_seconds / seconds, ampere_seconds / seconds) if seconds > 0 else None

    def _newest_first(self, from_s: float, to_s: float) -> Iterator[Stretch]:
        for span in reversed(self._spans):
            if span.end_s <= from_s:
                return
            if span.start_s < to_s:
                yield span
