"""The temperature that a sensor on a heatsink shows, under heat that changes with time.

One mass that loses its heat to the air, behind two lags. A chain of two masses, devices and heatsink, has two poles and
no zero between heat and heatsink, as one mass behind one lag has; the sensor is one more lag. So resistance and
capacity of the devices' side are told only by their product, which is their lag. The two lags may be interchanged: a
course tells how long they are, and not whose is the longer. Each stage is exact for heat that is constant, and a
temperature that changes evenly, from one instant to the next.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]


def rises(  # noqa: PLR0917 - a row of numbers for each set of parameters
    steps_s: Samples, heat_w: Samples, w_per_k: Samples, j_per_k: Samples, lags_s: Sequence[Samples], start_k: Samples
) -> Samples:
    """Rises above the air as the sensor has them, at the end of each step; shape (steps, sets).

    Args:
        steps_s: length of each step, (steps,).
        heat_w: in each step, (steps, sets).
        w_per_k: from heatsink to air, (sets,), as all that follow; 0 for one that loses nothing.
        j_per_k: of heatsink and devices.
        lags_s: of the devices' side and of the sensor.
        start_k: rise of heatsink and sensor at the beginning.
    """
    lost = steps_s[:, None] * w_per_k / j_per_k
    left = np.exp(-lost)
    warmed_k = heat_w * (steps_s[:, None] / j_per_k) * _mean_left(lost)
    kept = [np.exp(-steps_s[:, None] / lag_s) for lag_s in lags_s]
    behind = [lag_s / steps_s[:, None] for lag_s in lags_s]
    rise_k = np.array(start_k)
    shown_k = [rise_k] * len(lags_s)
    found = np.empty_like(heat_w)
    for step in range(len(steps_s)):
        moved_k = rise_k * left[step] + warmed_k[step]
        before_k, ahead_k = rise_k, moved_k
        for stage, own_k in enumerate(shown_k):
            off_k = behind[stage][step] * (ahead_k - before_k)
            next_k = ahead_k - off_k + (own_k - before_k + off_k) * kept[stage][step]
            before_k, ahead_k = own_k, next_k
            shown_k[stage] = next_k
        rise_k = moved_k
        found[step] = shown_k[-1]
    return found


def _mean_left(lost: Samples) -> Samples:
    """Of heat that comes evenly over a step, the part that is still there at its end."""
    is_none = np.abs(lost) < 1e-9
    return np.asarray(np.where(is_none, 1.0, -np.expm1(-lost) / np.where(is_none, 1.0, lost)))
