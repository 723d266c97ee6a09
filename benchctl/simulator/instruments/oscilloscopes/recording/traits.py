"""What simulated oscilloscopes are limited to: lengths from a table, steps of 1-2-5, few probe ratios, a roll mode."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import Enum

from benchctl.scpi.errors import ScpiError

_STEPS = (1.0, 2.0, 5.0, 10.0)
# A setting that is so little beside a step is that step.
_ROUNDING = 1e-6


class Snap(Enum):
    """What becomes of a value that cannot be set."""

    REFUSE = "refuse"
    DOWN = "down"
    UP = "up"


@dataclass(frozen=True)
class Lengths:
    """The lengths of record, in samples, that can be set; without any, every length can."""

    table: tuple[int, ...] = ()
    snap: Snap = Snap.REFUSE
    automatic: bool = False
    """no length can be set: the instrument takes the longest with which it still samples fast enough"""

    def settled(self, samples: int) -> int:
        """What is set when a length is asked for; -224 where it is not in the table and none is taken instead."""
        if self.automatic:
            raise ScpiError(-221, "the length follows the time base")
        if not self.table or samples in self.table:
            return samples
        if self.snap is Snap.REFUSE:
            raise ScpiError(-224, str(samples))
        return int(_snapped(samples, self.table, self.snap))

    def following(self, most: float) -> int:
        """The longest of no more samples than the time base and the memory leave room for, else the shortest."""
        return max((length for length in self.table if length <= most), default=min(self.table))


@dataclass(frozen=True)
class Traits:
    """What one model is limited to. By default there is no limit but those of the bench file."""

    lengths: Lengths = field(default_factory=Lengths)
    time_base: Snap | None = None
    """where time bases go in steps of 1-2-5: what becomes of one between two steps"""
    scale: Snap | None = None
    """the same for volts a division"""
    probe_ratios: tuple[float, ...] = ()
    """the only ones that can be set; none: any"""
    roll_from_s: float = math.inf
    """from this time a division on, a record begins when it is asked for and waits for no trigger"""
    state_after_s: float = 0.0
    """after a record was asked for, its state still answers for the last one for so long"""

    def time_base_s(self, seconds: float) -> float:
        """Seconds a division that are set."""
        return _in_steps(seconds, self.time_base)

    def scale_v(self, volts: float) -> float:
        """Volts a division that are set."""
        return _in_steps(volts, self.scale)

    def probe_ratio(self, ratio: float) -> float:
        """The ratio; -224 where it cannot be set."""
        if not self.probe_ratios:
            return ratio
        for known in self.probe_ratios:
            if math.isclose(ratio, known, rel_tol=_ROUNDING):
                return known
        raise ScpiError(-224, f"a probe ratio of {ratio:g}")


def _in_steps(value: float, snap: Snap | None) -> float:
    if snap is None or value <= 0:
        return value
    decade = math.floor(math.log10(value) + _ROUNDING)
    steps = [float(f"{step:g}e{decade}") for step in _STEPS]
    return _snapped(value, steps, snap)


def _snapped(value: float, steps: Sequence[float], snap: Snap) -> float:
    """The next step in one direction; beyond the last, the last."""
    below = [step for step in steps if step <= value * (1 + _ROUNDING)]
    above = [step for step in steps if step >= value * (1 - _ROUNDING)]
    if snap is Snap.DOWN:
        return max(below, default=min(steps))
    return min(above, default=max(steps))
