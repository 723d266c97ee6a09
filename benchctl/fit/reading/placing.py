"""A record of several repetitions cut to one, with its burst at the trigger.

An oscilloscope whose time bases go in large steps makes such records, in which no burst begins at the trigger.
"""

from __future__ import annotations

from dataclasses import replace

from benchctl.measure.analyses.context import BurstContext
from benchctl.measure.bursts.envelope import find_burst
from benchctl.measure.signal.record import OUTPUT, Capture

LONGER = 1.5
"""So many repetitions are in a record that was not cut to one."""

REST_S = 5e-3
"""Of rest before a burst, as records of one repetition have it."""


def with_burst_at_trigger(capture: Capture, context: BurstContext) -> Capture:
    """The record as it is, if it is of one repetition.

    Raises:
        MeasurementError: no burst stands out in it.
    """
    if capture.duration_s < LONGER * context.every_s or not capture.channels:
        return capture
    signal = f"{OUTPUT}{capture.channels[0]}"
    burst = find_burst(capture, signal, context.frequency_hz, context.cycles, context.low_level_ratio)
    first = max(round((burst.start_s - REST_S - capture.start_s) / capture.interval_s), 0)
    last = first + round((context.every_s - REST_S) / capture.interval_s)
    traces = {name: replace(trace, codes=trace.codes[first:last]) for name, trace in capture.traces.items()}
    start_s = capture.start_s + first * capture.interval_s - burst.start_s
    return replace(capture, start_s=start_s, traces=traces)
