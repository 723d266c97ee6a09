"""The temperature that a sensor on a heatsink shows, under heat that changes with time.

One mass that loses its heat to the air, behind two equal lags. A chain of two masses, devices and heatsink, has two
poles and no zero between heat and heatsink, as one mass behind one lag has; a slow sensor is one more lag. So
resistance and capacity of the devices' side are told only by their product, which is a part of the lag. Each stage is
exact for heat that is constant, and a temperature that changes evenly, from one instant to the next.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]

STAGES = 2
"""Devices and sensor: two equal lags come near any two of one sum."""


def rises(  # noqa: PLR0917 - a row of numbers for each set of parameters
    steps_s: Samples, heat_w: Samples, k_per_w: Samples, j_per_k: Samples, lag_s: Samples, start_k: Samples
) -> Samples:
    """Rises above the air as the sensor has them, at the end of each step; shape (steps, sets).

    Args:
        steps_s: length of each step, (steps,).
        heat_w: in each step, (steps, sets).
        k_per_w: from heatsink to air, (sets,), as all that follow.
        j_per_k: of heatsink and devices.
        lag_s: of devices' side and sensor together.
        start_k: rise of heatsink and sensor at the beginning.
    """
    left = np.exp(-steps_s[:, None] / (k_per_w * j_per_k))
    end_k = heat_w * k_per_w
    stage_s = lag_s / STAGES
    kept = np.exp(-steps_s[:, None] / stage_s)
    behind = stage_s / steps_s[:, None]
    rise_k = np.array(start_k)
    shown_k = [rise_k] * STAGES
    found = np.empty_like(heat_w)
    for step in range(len(steps_s)):
        moved_k = end_k[step] + (rise_k - end_k[step]) * left[step]
        before_k, ahead_k = rise_k, moved_k
        for stage, own_k in enumerate(shown_k):
            off_k = behind[step] * (ahead_k - before_k)
            next_k = ahead_k - off_k + (own_k - before_k + off_k) * kept[step]
            before_k, ahead_k = own_k, next_k
            shown_k[stage] = next_k
        rise_k = moved_k
        found[step] = shown_k[-1]
    return found
