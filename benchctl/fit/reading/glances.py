"""A glance at each driven output: how far it goes up and down, its mean, and its size."""

from __future__ import annotations

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
"""A mean over fewer cycles says nothing of dc."""


@dataclass(frozen=True)
class Glance:
    """One output in one record under a tone.

    `asked_v`: RMS at the input. `noise_v`: below this nothing can be said of a peak. `heatsink_c`: as it was read last.
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
        values = _smooth(trace.values(), capture.interval_s * (conditions.frequency_hz or 0.0))
        lower_v, upper_v = np.percentile(values, [_OUTERMOST, 100.0 - _OUTERMOST])
        yield Glance(
            file=capture.name,
            channel=channel,
            conditions=conditions,
            asked_v=conditions.level_v or 0.0,
            upper_v=float(upper_v),
            lower_v=float(lower_v),
            rms_v=float(np.sqrt(np.mean(values**2))),
            noise_v=_noise(trace),
            taken_s=capture.taken_s,
            heatsink_c=heatsink_c,
        )


def _smooth(values: Samples, cycles_per_sample: float) -> Samples:
    """Means over a short part of a cycle, in which what class D leaves of its carrier goes out; a sine loses 0.3 %."""
    count = max(int(_SMOOTHED_CYCLES / cycles_per_sample), 1)
    return np.convolve(values, np.full(count, 1.0 / count), mode="valid")


def _noise(trace: Trace) -> float:
    return 3.0 * trace.step + (trace.zero_limit or 0.0)
