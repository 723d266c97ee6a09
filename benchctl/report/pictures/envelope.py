"""A record with more samples than a picture can show: the lowest and the highest value in each column.

Leaving out samples would show a fast signal as a slow one (aliasing); minimum and maximum do not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

COLUMNS = 600  # about two for each point of a picture's width


@dataclass(frozen=True)
class Envelope:
    """For each column its middle on the x axis and the least and greatest value in it."""

    x: Array
    low: Array
    high: Array


def envelope(x: Array, y: Array, columns: int = COLUMNS) -> Envelope:
    """The envelope of `y` over `x`, both of shape (n,) and in order; every sample is in one column."""
    if x.size <= 2 * columns:
        return Envelope(x, y, y)
    starts = np.linspace(0, x.size, columns, endpoint=False).astype(np.int64)
    stops = np.append(starts[1:], x.size)
    return Envelope((x[starts] + x[stops - 1]) / 2.0, np.minimum.reduceat(y, starts), np.maximum.reduceat(y, starts))
