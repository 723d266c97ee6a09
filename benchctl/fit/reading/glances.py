"""A glance at each driven output: how far it goes up and down, how long it stays there, and its size."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from benchctl.archive.captures import load_capture
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import conditions_of, results_of
from benchctl.archive.journal.events import CAPTURE, FIGURES
from benchctl.archive.journal.journal import Event
from benchctl.fit.reading.items import Samples
from benchctl.measure.conditions import Conditions
from benchctl.measure.signal.record import OUTPUT, Capture, Trace

NEAR_HZ = 500.0, 2000.0
_OUTERMOST = 0.2
"""Percent of the samples that lie beyond the peaks: so much may be noise."""

_SMOOTHED_CYCLES = 0.04

_MANY_CYCLES = 1.0
"""A record of fewer cycles shows no whole wave."""

_AT_END = 0.1
"""Of the swing: so near its highest or lowest value an output is at that end."""

FLAT = 0.3
"""Part of the time at one end from which that end is flat. A sine is within a tenth of its swing from either end for
arccos(0.8)/pi = 0.20 of the time, whatever dc it stands on; a sine without one of its halves for more than half."""

MISSING = 0.1
"""Of the other half wave: a half wave with less is missing."""

LARGE = 5.0
"""Times its noise: a record that is smaller does not tell whether both half waves are there."""


@dataclass(frozen=True)
class Glance:
    """One output in one record under a tone.

    `asked_v`: RMS at the input. `noise_v`: below this nothing can be said of a peak. `heatsink_c`: as it was read last.
    `at_top`, `at_bottom`: parts of the time that it is near its highest and its lowest value.
    """

    file: str
    channel: str
    conditions: Conditions
    asked_v: float
    upper_v: float
    lower_v: float
    rms_v: float
    noise_v: float
    taken_s: float
    heatsink_c: float | None
    at_top: float
    at_bottom: float

    @property
    def size_v(self) -> float:
        """The larger peak, from zero volts."""
        return max(abs(self.upper_v), abs(self.lower_v))

    @property
    def swing_v(self) -> float:
        """From the lowest to the highest value."""
        return self.upper_v - self.lower_v

    @property
    def missing_half(self) -> str:
        """`upper` or `lower`, '' where none is missing: a missing one is flat near zero. A whole sine beside zero
        stands on dc."""
        most_v = MISSING * self.size_v + self.noise_v
        if self.size_v < LARGE * self.noise_v:
            return ""
        if abs(self.upper_v) < most_v and self.at_top > FLAT:
            return "upper"
        return "lower" if abs(self.lower_v) < most_v and self.at_bottom > FLAT else ""

    @property
    def tells_halves(self) -> bool:
        """Whether it tells that one half wave is missing, or that none is. A whole sine that dc lifts off zero does
        not: a louder one may lack what lies beyond zero."""
        crosses = min(self.upper_v, -self.lower_v) > MISSING * self.size_v
        return self.size_v >= LARGE * self.noise_v and (crosses or bool(self.missing_half))


def glances_of(folder: RunFolder, events: Sequence[Event]) -> Iterator[Glance]:
    """In the order of the run, of all records near 1 kHz, also of those that gave no figure.

    Raises:
        ArchiveError: a record is broken.
    """
    heatsink_c: float | None = None
    for event in results_of(events):
        if event["event"] == FIGURES:
            readings = [value for value in event["readings"].get("heatsink", ()) if value is not None]
            heatsink_c = readings[-1] if readings else heatsink_c
        elif event["event"] == CAPTURE and _is_near(conditions := conditions_of(event)):
            yield from _of_capture(load_capture(folder.inside(event["file"])), conditions, heatsink_c)


def _is_near(conditions: Conditions) -> bool:
    return bool(
        conditions.level_v
        and conditions.driven
        and conditions.frequency_hz
        and NEAR_HZ[0] <= conditions.frequency_hz <= NEAR_HZ[1]
    )


def _of_capture(capture: Capture, conditions: Conditions, heatsink_c: float | None) -> Iterator[Glance]:
    if capture.duration_s * (conditions.frequency_hz or 0.0) < _MANY_CYCLES:
        return
    for channel in conditions.driven:
        trace = capture.traces.get(f"{OUTPUT}{channel}")
        if trace is None:
            continue
        cycles_per_sample = capture.interval_s * (conditions.frequency_hz or 0.0)
        values = _smooth(trace.values(), cycles_per_sample)
        lower_v, upper_v = map(float, np.percentile(values, [_OUTERMOST, 100.0 - _OUTERMOST]))
        at_top, at_bottom = at_ends(values, (lower_v, upper_v), cycles_per_sample)
        yield Glance(
            file=capture.name,
            channel=channel,
            conditions=conditions,
            asked_v=conditions.level_v or 0.0,
            upper_v=upper_v,
            lower_v=lower_v,
            rms_v=float(np.sqrt(np.mean(values**2))),
            noise_v=_noise(trace),
            taken_s=capture.taken_s,
            heatsink_c=heatsink_c,
            at_top=at_top,
            at_bottom=at_bottom,
        )


def at_ends(values: Samples, ends: tuple[float, float], cycles_per_sample: float) -> tuple[float, float]:
    """Parts of whole cycles in which an output is near its upper, and near its lower end."""
    whole = values[: max(round(math.floor(len(values) * cycles_per_sample + 1e-3) / cycles_per_sample), 1)]
    lower_v, upper_v = ends
    near_v = _AT_END * (upper_v - lower_v)
    return float(np.mean(whole > upper_v - near_v)), float(np.mean(whole < lower_v + near_v))


def _smooth(values: Samples, cycles_per_sample: float) -> Samples:
    """Means over a short part of a cycle, in which what class D leaves of its carrier goes out; a sine loses 0.3 %."""
    count = max(int(_SMOOTHED_CYCLES / cycles_per_sample), 1)
    return np.convolve(values, np.full(count, 1.0 / count), mode="valid")


def _noise(trace: Trace) -> float:
    return 3.0 * trace.step + (trace.zero_limit or 0.0)
