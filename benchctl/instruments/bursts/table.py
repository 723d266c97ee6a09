"""A burst and its rest, or a period of two tones, as one table of samples, as a generator plays it again and again."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from benchctl.documents.driver_file.generator import SampleTable
from benchctl.documents.driver_file.language.values import TableText
from benchctl.instruments.bursts.burst import Burst
from benchctl.scpi.blocks import encode_block

POINTS_A_CYCLE = 32
"""Samples a cycle where there is room: the images of the sine then lie far beyond the audio band."""
FEWEST_POINTS_A_CYCLE = 8
"""With fewer the sine that comes out depends on how the generator smooths its steps (common practice)."""
USUAL_POINTS = 16_384
"""Where a driver file does not say how long a table may be (common practice)."""
DIGITS = 6
"""Behind the point of a sample as text."""

_TYPES: Mapping[str, str] = {"int16": "i2", "uint16": "u2", "float32": "f4"}


def points_of(frequency_hz: float, every_s: float, most: float, highest_rate_hz: float = math.inf) -> int:
    """How many samples a repetition has: enough for its sine, and no more than the generator takes."""
    wanted = math.ceil(POINTS_A_CYCLE * frequency_hz * every_s)
    return int(min(wanted, most, highest_rate_hz * every_s))


def is_fine_enough(points: int, frequency_hz: float, every_s: float) -> bool:
    """Whether so many samples a repetition make a sine."""
    return points >= FEWEST_POINTS_A_CYCLE * frequency_hz * every_s


def samples_of(burst: Burst, points: int) -> NDArray[np.float64]:
    """One repetition; the peak of the burst is 1."""
    at = np.arange(points) * (burst.every_s * burst.frequency_hz / points)
    # A sample on the border belongs to the rest, as rounding may put it on either side.
    level = np.where(at < burst.cycles - 1e-9, 1.0, burst.rest_ratio)
    return np.asarray(level * np.sin(2 * np.pi * at), dtype=np.float64)


def written(samples: NDArray[np.float64], table: SampleTable) -> TableText:
    """The samples as the generator takes them; -1 to 1 become what the driver file says."""
    numbers = (table.highest + table.lowest) / 2 + samples * (table.highest - table.lowest) / 2
    if table.type == "text":
        return TableText(",".join(f"{number:.{DIGITS}f}" for number in numbers.round(DIGITS) + 0.0))
    order = ">" if table.order == "high_first" else "<"
    codes = numbers if table.type == "float32" else np.rint(numbers)
    return TableText(encode_block(codes.astype(order + _TYPES[table.type]).tobytes()).decode("latin-1"))
