"""When a record begins and ends: arming, pretrigger, trigger, completion, all as functions of time.

The oscilloscope waits for nothing: each time the simulated bench moves on it looks whether, in the time that passed,
a trigger came and the record was filled.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from benchctl.simulator.hardware.history import Stretch
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.hardware.waveforms import Samples

AUTO_TRIGGER_S = 0.05
"""With the automatic sweep a record without a trigger starts after this time."""

EXTERNAL = 0
"""The external trigger input among trigger sources; others are channel numbers."""


@dataclass(frozen=True)
class Timing:
    """The record: its length, its samples, and where the trigger lies in it."""

    span_s: float = 0.01
    samples: int = 10_000
    pretrigger_s: float = 0.0
    """from the first sample to the trigger"""

    @property
    def interval_s(self) -> float:
        """Between two samples."""
        return self.span_s / self.samples


@dataclass(frozen=True)
class Trigger:
    """What starts a record."""

    source: int = EXTERNAL
    rising: bool = True
    level_v: float = 0.0
    """at the input; for a channel"""
    automatic: bool = True


@dataclass(frozen=True)
class Record:
    """A finished record: its times, and the history it was cut from."""

    start_s: float
    timing: Timing
    spans: tuple[Stretch, ...]
    number: int

    def times_s(self) -> Samples:
        """Of the samples."""
        return self.start_s + np.arange(self.timing.samples, dtype=np.float64) * self.timing.interval_s


FindEdge = Callable[[Trigger, float, float, float], float]
"""(trigger, from, to, sampling interval) -> the first edge between two times, or infinity."""


class Acquisition:
    """The trigger system: idle, armed and waiting, or armed and filling. `record` keeps the last finished record.

    A record of `rolls_from_s` or longer begins when it is asked for.
    """

    def __init__(self, physical_bench: PhysicalBench, find_edge: FindEdge, *, rolls_from_s: float = math.inf) -> None:
        self.timing = Timing()
        self.trigger = Trigger()
        self.record: Record | None = None
        self.repeats = False
        self._physical_bench = physical_bench
        self._find_edge = find_edge
        self._rolls_from_s = rolls_from_s
        self._armed_s: float | None = None
        self._trigger_s: float | None = None
        self._count = 0

    @property
    def armed(self) -> bool:
        """Whether a record is under way."""
        return self._armed_s is not None

    @property
    def waiting(self) -> bool:
        """Whether it still waits for its trigger."""
        return self.armed and self._trigger_s is None

    def arm(self, *, repeats: bool = False) -> None:
        """Begin a record; what was recorded before is gone."""
        self.record, self.repeats = None, repeats
        self._armed_s, self._trigger_s = self._physical_bench.time_s, None
        if self.timing.span_s >= self._rolls_from_s:  # so long a record waits for no trigger
            self._trigger_s = self._ready_s

    def has_been_armed_for(self, seconds: float) -> bool:
        """Whether a record is under way, and was asked for so long ago."""
        return self._armed_s is not None and self._physical_bench.time_s - self._armed_s >= seconds

    def stop(self) -> None:
        """Give up the record under way."""
        self._armed_s = self._trigger_s = None

    def change(self, timing: Timing | None = None, trigger: Trigger | None = None) -> None:
        """Change settings; a record under way begins again with them."""
        self.timing, self.trigger = timing or self.timing, trigger or self.trigger
        if self.armed:
            self.arm(repeats=self.repeats)

    def force(self) -> None:
        """Trigger now, or as soon as the pretrigger is filled."""
        if self.waiting:
            self._trigger_s = max(self._ready_s, self._physical_bench.time_s)

    def remembers_from(self) -> float:
        """The earliest time of the history that it may still need."""
        if self._armed_s is None:
            return math.inf
        trigger_s = self._trigger_s if self._trigger_s is not None else max(self._ready_s, self._physical_bench.time_s)
        return trigger_s - self.timing.pretrigger_s

    def look(self, from_s: float, to_s: float) -> None:
        """Find the trigger in the time that passed, and finish the record if it is whole."""
        if self.waiting:
            found_s = self._find(max(from_s, self._ready_s), to_s)
            self._trigger_s = found_s if found_s <= to_s else None
        if self._trigger_s is not None and to_s >= self._end_s:
            self._finish()

    @property
    def _ready_s(self) -> float:
        """When the pretrigger is filled; earlier triggers do not count."""
        assert self._armed_s is not None
        return self._armed_s + self.timing.pretrigger_s

    @property
    def _end_s(self) -> float:
        assert self._trigger_s is not None
        return self._trigger_s - self.timing.pretrigger_s + self.timing.span_s

    def _finish(self) -> None:
        assert self._trigger_s is not None
        start_s, end_s = self._trigger_s - self.timing.pretrigger_s, self._end_s
        spans = self._physical_bench.history.between(start_s, end_s)
        self._count += 1
        self.record = Record(start_s, self.timing, spans, self._count)
        self.stop()
        if self.repeats:
            self._armed_s = self._physical_bench.time_s

    def _find(self, from_s: float, to_s: float) -> float:
        """The first trigger not before `from_s`; infinity for none up to `to_s`."""
        if from_s > to_s:
            return math.inf
        found_s = self._find_edge(self.trigger, from_s, to_s, self.timing.interval_s)
        if self.trigger.automatic:
            found_s = min(found_s, max(self._ready_s + AUTO_TRIGGER_S, from_s))
        return found_s
