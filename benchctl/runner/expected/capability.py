"""What an amplifier gives and draws into a load at a supply voltage, as far as its rating plate tells.

There are two answers. One is the worst case: load, probe, fuse and supply are checked against it, and it is never too
low. The other is what to expect: times, energy and heat are predicted with it.

Power. If the rails follow the supply, power is proportional to the square of the supply voltage. If they are regulated,
it is not. If the amplifier file does not say which, the worst case takes the larger of both: the rated power below the
nominal voltage, the square above it.

A level that asks for more than that is clipped, and can give up to twice as much: a square wave.

Draw. A linear stage takes a current in proportion to its output voltage from rails that stay constant. So its supply
power is proportional to the root of its output power: at an eighth of its power it draws a third of its current
(Boylestad and Nashelsky, ch. 12). A switching stage takes its output power and its losses.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from benchctl.documents.amplifier_file.amplifier import Amplifier, Rating

# In a burst the reservoir adds over half as much again (common practice).
BURST_OVER_RATED = 1.6


@dataclass(frozen=True)
class Assumptions:
    """What the plate does not tell: continuous power over rated power, and output power over supply power at full
    drive, converter included, of a linear and of a switching amplifier; what a burst gives over rated power, and
    whether these are the worst.
    """

    over_rated: float
    linear: float
    switching: float
    burst_over_rated: float = BURST_OVER_RATED
    are_worst: bool = False


# Common practice: a fifth over the plate at the most; ideal class B is pi / 4, and class D loses a tenth in each of its
# converter and its stages.
MOST = Assumptions(over_rated=1.2, linear=0.55, switching=0.75, are_worst=True)
# Common practice: a maker rates a little below what comes; a tenth of the swing and a tenth in the converter are lost.
EXPECTED = Assumptions(over_rated=1.05, linear=0.62, switching=0.82)
# Rails that sag under all channels hold up for a few: each of these gives up to a third more (common practice).
FEW_OVER_ALL = 4.0 / 3.0


@dataclass(frozen=True)
class Capability:
    """One amplifier into one load at one supply voltage, under assumptions. Powers are those in each load.

    `driven`: how many of its channels are driven; None for all.
    """

    amplifier: Amplifier
    load_ohm: float
    supply_v: float
    assumptions: Assumptions
    driven: int | None = None
    is_square: bool = False

    @property
    def channels(self) -> int:
        """How many are driven."""
        return self.driven or len(self.amplifier.channels)

    @property
    def _of_few(self) -> float:
        """If not all channels are driven, each may give more. This counts in the worst case."""
        are_few = self.channels < len(self.amplifier.channels) and self.assumptions.are_worst
        return FEW_OVER_ALL if are_few else 1.0

    @property
    def full_w(self) -> float:
        """The most that it gives continuously."""
        return self.assumptions.over_rated * self.rated_w * self._of_few

    @property
    def burst_w(self) -> float:
        """The most that it gives for some cycles."""
        return self.assumptions.burst_over_rated * self.rated_w * self._of_few

    @property
    def rated_w(self) -> float:
        """The plate's power at the nominal voltage, converted to this voltage."""
        line = _line_for(self.amplifier, self.load_ohm)
        return line.power_w * line.load_ohm / self.load_ohm * self._of_supply

    @property
    def _of_supply(self) -> float:
        """What the supply voltage makes of the power at the nominal one."""
        ratio = self.supply_v / self.amplifier.supply.nominal_v
        match self.amplifier.rails:
            case "regulated":
                return 1.0
            case None if self.assumptions.are_worst:
                return max(ratio, 1.0) ** 2
            case _:
                return ratio**2

    def given_w(self, asked_w: float) -> float:
        """The output power for a sine that would have `asked_w` without clipping."""
        unclipped_w = 2.0 * asked_w if self.is_square else asked_w
        return min(unclipped_w, 2.0 * self.full_w * self._means(asked_w).square)

    def supply_w(self, asked_w: float) -> float:
        """The supply's power, beyond that at idle, for a sine that would have so much power in each load."""
        channels = self.channels
        if self.amplifier.amplifier_class == "D":
            return channels * self.given_w(asked_w) / self.assumptions.switching
        current = self._means(asked_w).absolute * math.pi / 2.0
        return channels * self.full_w * current / self.assumptions.linear

    def supply_a(self, asked_w: float) -> float:
        """The supply's current then, idle current included."""
        return self.supply_w(asked_w) / self.supply_v + idle_a(self.amplifier, self.supply_v)

    def _means(self, asked_w: float) -> _Means:
        drive = self._drive(asked_w)
        return _Means(min(drive, 1.0), min(drive, 1.0) ** 2) if self.is_square else _clipped(drive)

    def _drive(self, asked_w: float) -> float:
        """The amplitude that is asked for, over the highest that is not clipped."""
        return math.sqrt(asked_w / self.full_w)


def idle_a(amplifier: Amplifier, supply_v: float) -> float:
    """What the undriven amplifier draws: as its maker says or as was fitted to this unit, whichever is more; what is
    lost in switching rises with the rails."""
    known_a = max(amplifier.idle_current_a or 0.0, amplifier.fitted_idle_current_a or 0.0)
    return known_a * max(supply_v / amplifier.supply.nominal_v, 1.0)


class _Means(NamedTuple):
    """Means of a cycle of a sine whose peaks are clipped at 1."""

    absolute: float
    square: float


def _clipped(amplitude: float) -> _Means:
    """The integrals over a quarter of a cycle: up to where the peak is cut off, and from there on."""
    if amplitude <= 1.0:
        return _Means(2.0 / math.pi * amplitude, amplitude**2 / 2.0)
    cut = math.asin(1.0 / amplitude)
    flat = math.pi / 2.0 - cut
    rising = amplitude * (1.0 - math.cos(cut))
    rising_square = amplitude**2 * (cut / 2.0 - math.sin(2.0 * cut) / 4.0)
    return _Means(2.0 / math.pi * (rising + flat), 2.0 / math.pi * (rising_square + flat))


def _line_for(amplifier: Amplifier, load_ohm: float) -> Rating:
    """The plate's line for this load; else the line of the nearest lighter load, because this load does not get a
    higher voltage; for a load lighter than all, the lightest line.
    """
    exact = amplifier.rating(load_ohm)
    if exact is not None:
        return exact
    lighter = [line for line in amplifier.rated if line.load_ohm >= load_ohm]
    if lighter:
        return min(lighter, key=lambda line: line.load_ohm)
    return max(amplifier.rated, key=lambda line: line.load_ohm)
