"""A square wave in a record: its steps, how long an edge takes, what shoots over, rings and sinks.

A top sinks through a high-pass towards the mean of the wave, so an exponential is fitted to its settled part and
followed back to the edge. All else is counted from there: the step between two tops, 10 % and 90 % of it, and what
shoots over. What a settled top has of noise, steps of the converter and a carrier's residue is the floor: no overshoot
below it is seen.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from benchctl.errors import MeasurementError, RecordTooShort, SilentRecord
from benchctl.measure.rounding.alike import alike
from benchctl.measure.signal.record import Samples, finite
from benchctl.measure.signal.sine import fit_sine

# A top counts as settled in this part of its half period, counted from the middle of its edge: what rings has died out,
# and the next edge, which may be slow, has not begun.
_SETTLED = (0.4, 0.75)
# Part of the half period in which an edge must end and its ringing is looked at.
_RINGING = 0.4
_LOW, _HIGH = 0.1, 0.9
# An edge is smoothed over a tenth of its rise time: that adds 0.3 % to it, in squares ((0.8 / 10)^2 / 2).
_SMOOTHED = 10
# Of a settled part, whose means tell what has not settled from noise.
_BLOCKS = 8
# At the first instant the line is off by up to so many times the rms of those means, followed there, of a tail that
# dies away within the settled part: found by fitting lines to exponentials of up to a quarter of that part's length. A
# slower tail is a tilt to it.
_TAKEN_IN = 5.0
# Fewer samples in half a period than this show no top.
_FEWEST_SAMPLES = 40
# A top must stand so many times above what it has of noise.
_LEAST_OVER_FLOOR = 5.0


@dataclass(frozen=True)
class Top:
    """The settled part of a half period, as it is at its first and at its last instant, from the mean of the wave.

    `floor` is the largest departure of a settled sample from it, and `error` the standard uncertainty of either end.
    """

    first: float
    last: float
    floor: float
    error: float

    @property
    def tilt(self) -> float:
        """What it sinks by, over the mean of its first and its last value."""
        return (self.first - self.last) / ((self.first + self.last) / 2.0)


@dataclass(frozen=True)
class Edge:
    """One edge: the size of its step, the time from 10 % to 90 % of it, and the overshoot as a part of it.

    `floor` is the smallest overshoot that would be seen. `ringing_hz` is None where no second swing rises above it.
    `step_u` is the standard uncertainty of the step, and `noise_s` what noise makes of the time, as one.
    """

    rises: bool
    step: float
    rise_s: float
    overshoot: float
    floor: float
    noise_s: float
    step_u: float
    ringing_hz: float | None = None


@dataclass(frozen=True)
class SquareWave:
    """Every whole edge of a record, and the tops on both sides of them."""

    edges: tuple[Edge, ...]
    tops: tuple[Top, ...]
    interval_s: float

    @property
    def slowest(self) -> Edge:
        """The edge that takes longest."""
        return max(self.edges, key=lambda edge: edge.rise_s)

    @property
    def scatter_s(self) -> float:
        """Standard deviation of the rise times of edges in one direction; 0 where there is one of each."""
        spreads = []
        for rises in (True, False):
            times = [edge.rise_s for edge in self.edges if edge.rises == rises]
            spreads.append(float(np.std(times, ddof=1)) if len(times) > 1 else 0.0)
        return max(spreads)


def square_wave(values: Samples, interval_s: float, frequency_hz: float, step: float = 0.0) -> SquareWave:
    """The edges and tops of a square wave of a known frequency; `values` has shape (n,) and holds two periods or more.
    `step` is that of the converter.

    Raises:
        RecordTooShort: fewer than two periods, or too few samples in each.
        SilentRecord: no more than noise.
        MeasurementError: it is no square wave of that frequency.
    """
    record = finite(values)
    half = 0.5 / (frequency_hz * interval_s)
    if half < _FEWEST_SAMPLES:
        raise RecordTooShort(f"{half:.3g} samples in half a period show no top; {_FEWEST_SAMPLES} are needed")
    if record.size < 4.0 * half:
        raise RecordTooShort(f"{record.size * interval_s:.3g} s is less than two periods of {frequency_hz:g} Hz")
    centred = record - _mean(record, half)
    crossings = list(_crossings(centred, half, interval_s, frequency_hz))
    halves = [_Half(centred, first, second) for first, second in pairwise(crossings)]
    if len(halves) < 2:
        raise RecordTooShort("the record has no edge with a whole half period on both sides")
    error = _error(halves, step)
    edges = tuple(_edge(before, after, error, interval_s) for before, after in pairwise(halves))
    return SquareWave(edges, tuple(each.top(error) for each in halves), interval_s)


class _Half:
    """Half a period from one crossing of the mean to the next, in samples; `centred` is the whole record."""

    def __init__(self, centred: Samples, first: float, second: float) -> None:
        self.centred, self.first, self.length = centred, first, second - first
        settled = self._part(*_SETTLED)
        self.sign = 1.0 if float(np.mean(centred[settled])) > 0.0 else -1.0
        self._rate, self._log_first, departures = self._fitted(settled)
        self.floor = float(np.max(np.abs(departures)))
        self.noise, self.samples = float(np.std(departures)), departures.size
        self.blocks = np.array([float(np.mean(block)) for block in np.array_split(departures, _BLOCKS)])
        if not self._size(0.0) > _LEAST_OVER_FLOOR * self.floor:
            raise SilentRecord("the tops of the square wave are no more than noise")

    def _part(self, start: float, stop: float) -> slice:
        return slice(math.ceil(self.first + start * self.length), math.floor(self.first + stop * self.length))

    def _fitted(self, settled: slice) -> tuple[float, float, Samples]:
        """Rate and start of log(top) = start + rate * place, place from 0 to 1, and what departs from that."""
        sizes = self.sign * self.centred[settled]
        if sizes.size < 3 or not np.all(sizes > 0.0):
            raise MeasurementError(
                "a top of the square wave reaches its mean: it is no square wave, or its frequency is too low"
            )
        places = (np.arange(settled.start, settled.stop) - self.first) / self.length
        rate, start = np.polyfit(places, np.log(sizes), 1)
        return float(rate), float(start), np.asarray(sizes - np.exp(start + rate * places))

    def _size(self, place: float) -> float:
        return math.exp(self._log_first + self._rate * place)

    def level_at(self, sample: Samples | float) -> Samples:
        """The top, or its continuation, at any sample."""
        place = (np.asarray(sample, dtype=np.float64) - self.first) / self.length
        return np.asarray(self.sign * np.exp(self._log_first + self._rate * place))

    def top(self, error: float) -> Top:
        return Top(self._size(0.0), self._size(1.0), self.floor, error)


def _error(halves: Sequence[_Half], step: float) -> float:
    """Standard uncertainty of a top at its ends. It is followed there from its settled part, so what is wrong with that
    counts so many times: noise, rounding that comes alike again and again, and what has not settled.

    The last is the same in all tops, so it shows in the means of a few blocks, taken over all tops, where these are
    more than noise makes them.
    """
    further = 1.0 / (_SETTLED[1] - _SETTLED[0])
    noise = max(half.noise for half in halves)
    samples = min(half.samples for half in halves)
    shape = np.mean([half.blocks for half in halves], axis=0)
    by_noise = noise**2 * _BLOCKS / (samples * len(halves))
    unsettled = math.sqrt(max(float(np.mean(shape**2)) - by_noise, 0.0))
    random = 2.0 * noise / math.sqrt(samples)
    return further * math.hypot(random, math.sqrt(alike(noise, step)), _TAKEN_IN * unsettled)


def _mean(record: Samples, half: float) -> float:
    """Over whole periods, as many as there are."""
    whole = math.floor(record.size / (2.0 * half) + 1e-9)
    return float(np.mean(record[: round(whole * 2.0 * half)]))


def _crossings(centred: Samples, half: float, interval_s: float, frequency_hz: float) -> Iterator[float]:
    """Where the wave crosses its mean, in samples: near each crossing of its fundamental, which tells where to look."""
    fit = fit_sine(centred, interval_s, frequency_hz)
    first = (-fit.phase_rad - math.pi / 2.0) / math.pi * half
    first -= math.floor(first / half) * half
    for number in range(math.ceil((centred.size - first) / half)):
        expected = first + number * half
        if (found := _crossing_near(centred, expected, half / 4.0)) is not None:
            yield found


def _crossing_near(centred: Samples, expected: float, reach: float) -> float | None:
    """The middle of all crossings within reach, as noise makes several of one; None at the record's ends."""
    start, stop = math.floor(expected - reach), math.ceil(expected + reach)
    if start < 0 or stop >= centred.size:
        return None
    part = centred[start : stop + 1]
    at = np.flatnonzero(part[:-1] * part[1:] <= 0.0)
    at = at[part[at] != part[at + 1]]
    if not at.size:
        raise MeasurementError("no edge of the square wave is where its fundamental has one")
    low = int(at[at.size // 2])
    return start + low + float(part[low] / (part[low] - part[low + 1]))


def _edge(before: _Half, after: _Half, error: float, interval_s: float) -> Edge:
    if before.sign == after.sign:
        raise MeasurementError("two half periods on one side of the mean are no square wave")
    base, top = float(before.level_at(after.first)), float(after.level_at(after.first))
    step = abs(top - base)
    stop = math.floor(after.first + _RINGING * after.length)
    start = math.floor(after.first - _RINGING * before.length)
    rough = _rise(_parts(before.centred[start:stop], base, top), after.first - start)
    width = max(int(rough / _SMOOTHED), 1)
    smooth = _smoothed(before.centred[start - width : stop + width], width)[width:-width]
    parts = _parts(smooth, base, top)
    rise = _rise(parts, after.first - start)
    swings = after.sign * (smooth - after.level_at(np.arange(start, stop, dtype=np.float64))) / step
    overshoot, ringing = _swings(swings[math.ceil(after.first - start) :], after.floor / step)
    noise = math.sqrt(2.0) * _noise_of(before, after) / math.sqrt(width) / (0.8 * step / rise)
    return Edge(
        rises=after.sign > 0.0,
        step=step,
        rise_s=rise * interval_s,
        overshoot=overshoot,
        floor=max(before.floor, after.floor) / step,
        noise_s=noise * interval_s,
        step_u=math.sqrt(2.0) * error,
        ringing_hz=None if ringing is None else 1.0 / (ringing * interval_s),
    )


def _noise_of(before: _Half, after: _Half) -> float:
    """Standard uncertainty of a sample: its largest departure taken for the limit of a rectangle."""
    return max(before.floor, after.floor) / math.sqrt(3.0)


def _smoothed(values: Samples, width: int) -> Samples:
    return np.asarray(np.convolve(values, np.ones(width) / width, mode="same")) if width > 1 else values


def _parts(values: Samples, base: float, top: float) -> Samples:
    """0 before the edge, 1 after it."""
    return np.asarray((values - base) / (top - base))


def _rise(parts: Samples, middle: float) -> float:
    """From 10 % to 90 %, in samples: the last place below and the first place above, counted from the middle."""
    centre = int(middle)
    below = np.flatnonzero(parts[: centre + 1] <= _LOW)
    above = np.flatnonzero(parts[centre:] >= _HIGH)
    if not below.size or not above.size:
        raise MeasurementError("an edge takes longer than the square wave's top lasts; use a lower frequency")
    low, high = int(below[-1]), centre + int(above[0])
    return _between(parts, high - 1, _HIGH) - _between(parts, low, _LOW)


def _between(parts: Samples, before: int, wanted: float) -> float:
    """Where a value is passed between two samples, by a straight line."""
    first, second = float(parts[before]), float(parts[before + 1])
    return before + (wanted - first) / (second - first)


def _swings(swings: Samples, floor: float) -> tuple[float, float | None]:
    """The overshoot, and the samples of one ringing period, where a swing back beyond the floor follows it."""
    over = int(np.argmax(swings))
    overshoot = float(swings[over])
    if overshoot <= floor:
        return max(overshoot, 0.0), None
    back = np.flatnonzero(swings[over:] < -floor)
    if not back.size:
        return overshoot, None
    begins = over + int(back[0])
    ends = begins + int(np.flatnonzero(np.append(swings[begins:], 0.0) >= 0.0)[0])
    under = begins + int(np.argmin(swings[begins:ends]))
    return overshoot, 2.0 * (under - over)
