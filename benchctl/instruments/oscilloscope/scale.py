"""What samples stand for: one formula for the numbers that an instrument tells, whatever it calls them.

time(n) = start + (n - reference_sample)·interval
volts = (code - zero_code - reference_code)·volts_per_code + volts_at_zero

What is not told is 0. Where the samples are volts there is no scale to tell.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Scale:
    """How codes become volts, and samples times."""

    volts_per_code: float
    volts_at_zero: float
    interval_s: float
    start_s: float

    @property
    def is_usable(self) -> bool:
        """Whether every number is one, and steps are steps."""
        numbers = (self.volts_per_code, self.volts_at_zero, self.interval_s, self.start_s)
        return all(map(math.isfinite, numbers)) and self.volts_per_code > 0 and self.interval_s > 0


def scale_of(told: Mapping[str, float], samples: int, pretrigger_s: float) -> Scale:
    """The scale that an instrument's numbers tell, by the names of a driver file's `get_scale`.

    Args:
        told: the numbers.
        samples: how many samples have come.
        pretrigger_s: from the first sample to the trigger as it was set, for an instrument that does not tell it.
    """
    interval_s = _interval_s(told, samples)
    volts_per_code = told.get("volts_per_code", 1.0)
    zero_code = told.get("zero_code", 0.0) + told.get("reference_code", 0.0)
    return Scale(
        volts_per_code=volts_per_code,
        volts_at_zero=told.get("volts_at_zero", 0.0) - zero_code * volts_per_code,
        interval_s=interval_s,
        start_s=_start_s(told, samples, interval_s, pretrigger_s),
    )


def points_told(told: Mapping[str, float]) -> int | None:
    """How many samples the instrument says that it has; None where it does not say."""
    points = told.get("points", math.nan)
    return int(points) if math.isfinite(points) and points > 0 else None


def _interval_s(told: Mapping[str, float], samples: int) -> float:
    if "interval" in told:
        return told["interval"]
    if "sample_rate" in told:
        return 1.0 / told["sample_rate"] if told["sample_rate"] > 0 else math.nan
    # `end` is the time of the last sample.
    steps = max((points_told(told) or samples) - 1, 1)
    return (told.get("end", math.nan) - told.get("start", math.nan)) / steps


def _start_s(told: Mapping[str, float], samples: int, interval_s: float, pretrigger_s: float) -> float:
    """When the first sample was taken, counted from the trigger."""
    if "start" in told:
        return told["start"] - told.get("reference_sample", 0.0) * interval_s
    if "center" in told:
        return told["center"] - samples / 2 * interval_s
    if "pretrigger" in told:
        return -told["pretrigger"]
    if "trigger_sample" in told:
        return -told["trigger_sample"] * interval_s
    return -pretrigger_s
