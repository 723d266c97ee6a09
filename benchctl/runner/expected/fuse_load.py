"""The current that heats the fuse in the supply lead: its root mean square. The mean would be too low."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.runner.expected.supply_draw import Bursts

# A reservoir smooths for about ten milliseconds (common practice): of a slower half cycle the supply carries the peaks.
SMOOTHED_S = 0.01
# The root mean square over the mean of what a linear stage draws, |sin|, and a switching one, sin^2 (closed forms).
RMS_OVER_MEAN_OF_LINEAR = math.pi / (2.0 * math.sqrt(2.0))
RMS_OVER_MEAN_OF_CLASS_D = math.sqrt(1.5)


@dataclass(frozen=True)
class FuseLoad:
    """A current, as its root mean square, and how long it flows. `is_part`: it is a single burst of another load."""

    rms_a: float
    for_s: float
    is_part: bool = False


# Bursts and how long they follow each other, or None and how long a steady tone lasts.
Train = tuple[Bursts | None, float]


def fuse_loads(full_a: float, rest_a: float, trains: Sequence[Train]) -> tuple[FuseLoad, ...]:
    """The load of each train of bursts as a whole, and of a single burst in it; `rest_a` flows between bursts."""

    def of_train(bursts: Bursts | None, for_s: float) -> Iterator[FuseLoad]:
        if bursts is None:
            yield FuseLoad(full_a, for_s)
        else:
            yield FuseLoad(math.sqrt(bursts.duty * full_a**2 + (1.0 - bursts.duty) * rest_a**2), for_s)
            yield FuseLoad(full_a, bursts.burst_s, is_part=True)

    return tuple(load for bursts, for_s in trains for load in of_train(bursts, for_s))


def rms_over_mean(amplifier: Amplifier, frequency_hz: float | None) -> float:
    """Root mean square over mean of the supply's current under a tone; 1 if the reservoir smooths the current."""
    if frequency_hz is None or 0.5 / frequency_hz <= SMOOTHED_S:
        return 1.0
    return RMS_OVER_MEAN_OF_CLASS_D if amplifier.amplifier_class == "D" else RMS_OVER_MEAN_OF_LINEAR
