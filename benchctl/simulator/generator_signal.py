"""The test signal: a sine (or another wave) of constant level, or a list of levels with dwell times.

All of it is a closed function of time: which tone sounds at an instant, until when, and when the sync output fires.
Bursts by number of cycles, tables, keyed modulation and sweeps are such lists too. They differ in what sounds while no
list plays, in the phase with which a repetition begins, and in whether the carrier begins anew with each.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass, field
from itertools import accumulate
from typing import NamedTuple

from benchctl.simulator.wave import Wave, distorted

SOURCE_OHM = 50.0
"""Output resistance of a function generator (common practice)."""

SAME_INSTANT_S = 1e-9
"""Times nearer than this are one instant: rounding after hours of run stays a thousand times below it."""


class Tone(NamedTuple):
    """offset + amplitude·sin(2π·frequency·(t - origin)), or with a wave instead of the sine."""

    amplitude_v: float
    frequency_hz: float
    origin_s: float
    sync_s: float | None = None
    """how long the sync output stays high; None: for the first half of every cycle"""
    offset_v: float = 0.0
    sync_from_s: float | None = None
    """when the sync output rose; None: at the origin"""
    wave: Wave | None = None
    """one cycle, of amplitude 1 where the generator's level says so; None: a sine"""

    @property
    def sync_rose_s(self) -> float:
        """When the sync output rose, or rises in each cycle."""
        return self.origin_s if self.sync_from_s is None else self.sync_from_s


@dataclass
class GeneratorSignal:
    """The true output of the generator."""

    output_on: bool = False
    stuck: bool = False
    """a fault: once on, the output stays on"""
    level_v: float = 0.0
    """RMS, of the constant tone; of another wave its amplitude over √2"""
    frequency_hz: float = 1000.0
    """of the sine, or of the wave's cycle"""
    wave: Wave | None = None
    """what sounds instead of a sine"""
    phase_origin_s: float = 0.0
    """an instant at which the constant tone crossed zero upwards"""
    offset_v: float = 0.0
    """dc under every tone while the output is on"""
    harmonics: tuple[float, float] = (0.0, 0.0)
    """second and third, that the generator adds to every tone, over the tone"""
    own_offset_v: float = 0.0
    """dc that it adds to every setting"""
    levels_v: tuple[float, ...] = field(default=())
    """RMS, of the list"""
    dwells_s: tuple[float, ...] = field(default=())
    frequencies_hz: tuple[float, ...] = field(default=())
    """of the list; empty where all have the frequency of the constant tone"""
    repetitions: float = math.inf
    only_lists: bool = False
    """nothing sounds before a list and after its end, where otherwise the constant tone does"""
    start_phase_rad: float = 0.0
    """of the tone at the start of each point"""
    carrier_runs_free: bool = False
    """the list keys a carrier that crosses zero when it likes"""
    list_started_s: float | None = None
    """when the list was started, or None for the constant tone"""
    _ends_s: tuple[float, ...] = field(default=(), init=False)
    """of each point, from the start of a repetition"""

    def switch(self, on: bool) -> None:
        """Connect the output, or disconnect it if it can be."""
        self.output_on = on or (self.output_on and self.stuck)

    def start_list(self, now_s: float) -> None:
        """Play the list from its first point, phase zero."""
        self._ends_s = tuple(accumulate(self.dwells_s))
        self.list_started_s = now_s

    def stop_list(self) -> None:
        """Go back to the constant tone."""
        self.list_started_s = None

    def list_playing(self, now_s: float) -> bool:
        """Whether the list is playing."""
        return self.list_started_s is not None and now_s < self._list_ends_s()

    def tone_at(self, now_s: float) -> tuple[Tone, float]:
        """The tone at the generator's output, and the instant at which it next changes by itself."""
        if self.list_playing(now_s):
            turn_s, point = self._place(now_s)
            return self._point(turn_s, point), turn_s + self._ends_s[point]
        if self.only_lists:
            return self._tone(0.0, self.frequency_hz, self.phase_origin_s, sync_s=0.0), math.inf
        return self._tone(self.level_v, self.frequency_hz, self.phase_origin_s), math.inf

    def next_sync(self, after_s: float, *, rising: bool = True) -> float:
        """The first instant not before `after_s` at which the sync output rises (or falls).

        For a list it is high during the first point; for a constant tone during the first half of each cycle.
        """
        if self.list_started_s is None or after_s > self._list_ends_s():
            if self.only_lists:
                return math.inf
            high_s = 0.0 if rising else 0.5 / self.frequency_hz
            return _next_multiple(self.phase_origin_s + high_s, 1 / self.frequency_hz, after_s)
        first_s = self.list_started_s + (0.0 if rising else self.dwells_s[0])
        sync_s = max(_next_multiple(first_s, self._period_s(), after_s), first_s)
        return sync_s if sync_s < self._list_ends_s() else math.inf

    def _point(self, turn_s: float, point: int) -> Tone:
        """A point of the list in the repetition that began at `turn_s`.

        All points of one frequency are one tone from the start of the repetition on; at another frequency a point
        begins anew.
        """
        frequency_hz = self.frequencies_hz[point] if self.frequencies_hz else self.frequency_hz
        origin_s = turn_s + (self._ends_s[point - 1] if self.frequencies_hz and point else 0.0)
        origin_s -= self.start_phase_rad / (2 * math.pi * frequency_hz)
        if self.carrier_runs_free:
            origin_s = self.phase_origin_s
        sync_from_s = None if origin_s == turn_s else turn_s
        return self._tone(
            self.levels_v[point], frequency_hz, origin_s, sync_s=self.dwells_s[0], sync_from_s=sync_from_s
        )

    def _tone(
        self,
        level_v: float,
        frequency_hz: float,
        origin_s: float,
        *,
        sync_s: float | None = None,
        sync_from_s: float | None = None,
    ) -> Tone:
        if not self.output_on:
            return Tone(0.0, frequency_hz, origin_s, sync_s, 0.0, sync_from_s)
        offset_v = self.offset_v + self.own_offset_v
        wave = distorted(self.wave, *self.harmonics) if any(self.harmonics) else self.wave
        return Tone(level_v * math.sqrt(2), frequency_hz, origin_s, sync_s, offset_v, sync_from_s, wave)

    def _period_s(self) -> float:
        return self._ends_s[-1]

    def _list_ends_s(self) -> float:
        if self.list_started_s is None:
            return -math.inf
        return self.list_started_s + self.repetitions * self._period_s()

    def _place(self, now_s: float) -> tuple[float, int]:
        """The start of the repetition that is playing now, and the number of its point."""
        assert self.list_started_s is not None
        period_s = self._period_s()
        turns = math.floor((now_s - self.list_started_s + SAME_INSTANT_S) / period_s)
        turn_s = self.list_started_s + turns * period_s
        inside_s = now_s - turn_s + SAME_INSTANT_S
        return turn_s, min(bisect_right(self._ends_s, inside_s), len(self._ends_s) - 1)


def _next_multiple(origin_s: float, period_s: float, after_s: float) -> float:
    """The first of origin + k·period that is not before `after_s`."""
    return origin_s + math.ceil((after_s - origin_s - SAME_INSTANT_S) / period_s) * period_s
