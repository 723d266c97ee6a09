"""The sines that a record shows: where each output's begins, and its tops."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from benchctl.fit.reading.items import Item, Samples
from benchctl.fit.reading.thinning import noise_of_a_sample
from benchctl.fit.reading.tops import Tops, tops_of
from benchctl.measure.signal.record import OUTPUT, Capture


def phases_of(items: Mapping[str, Item], times_s: Samples, frequency_hz: float) -> dict[str, float]:
    """The phase of each output's fundamental at the trigger, over whole cycles."""
    cycles = max(math.floor((times_s[-1] - times_s[0]) * frequency_hz + 1e-3), 1)
    whole = times_s < times_s[0] + cycles / frequency_hz * (1.0 - 1e-9)
    turns = 2.0 * np.pi * frequency_hz * times_s[whole]
    return {
        signal.removeprefix(OUTPUT): math.atan2(
            float((item.values[whole] * np.cos(turns)).sum()), float((item.values[whole] * np.sin(turns)).sum())
        )
        for signal, item in items.items()
        if signal.startswith(OUTPUT)
    }


def tops_by_channel(
    capture: Capture, phases: Mapping[str, float], frequency_hz: float, apart: int, burst_cycles: int = 0
) -> dict[str, Tops]:
    """Of every output; of a burst from its trigger to its end."""
    times_s = capture.start_s + capture.interval_s * np.arange(capture.samples)
    end_s = burst_cycles / frequency_hz if burst_cycles else math.inf
    plays = (times_s >= 0.0) & (times_s < end_s)
    found: dict[str, Tops] = {}
    for channel, phase in phases.items():
        trace = capture.trace(f"{OUTPUT}{channel}")
        turns = times_s[plays] * frequency_hz + phase / (2.0 * math.pi)
        tops = tops_of(turns, trace.values()[plays], noise_of_a_sample(trace, apart), burst_cycles)
        if tops is not None:
            found[channel] = tops
    return found
