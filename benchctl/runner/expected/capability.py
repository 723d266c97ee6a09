"""What an amplifier gives and draws into a load at a supply voltage, as far as its plate tells.

Told twice: the most that it may be, by which load, probe, fuse and supply are judged and which is never too little;
and what is to be expected, by which time, energy and heat are told.

Power. Rails that follow the supply make power go with the square of its voltage. Held rails do not, and where the
amplifier file does not say which it has, the most is the larger of both: the plate's power below the nominal voltage,
the square above it.

A level that asks for more than that is clipped, and gives up to twice as much all the same: a square wave.

Draw. A linear stage takes a current that goes with its output voltage, from rails that stay: from the supply it takes
a power that goes with the root of what it gives, so that at an eighth of its power it draws a third of its current
(Boylestad and Nashelsky, ch. 12). A switching stage takes what it gives and its losses.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from benchctl.documents.amplifier_file.amplifier import Amplifier, Rating


@dataclass(frozen=True)
class Assumptions:
    """What the plate does not tell: continuous power over the rated one, and output over supply power at full drive,
    converter included, of a linear and of a switching amplifier."""

    over_rated: float
    linear: float
    switching: float


# Common practice: a fifth over the plate at the most; ideal class B is pi / 4, and class D loses a tenth in each of its
# converter and its stages.
MOST = Assumptions(over_rated=1.2, linear=0.55, switching=0.75)
# Common practice: a maker rates a little below what comes; a tenth of the swing and a tenth in the converter are lost.
EXPECTED = Assumptions(over_rated=1.05, linear=0.62, switching=0.82)
# In a burst the reservoir adds over half as much again (common practice).
BURST_OVER_RATED = 1.6
# Rails that sag under all channels hold up for a few: each of these gives up to a third more (common practice).
FEW_OVER_ALL = 4.0 / 3.0


@dataclass(frozen=True)
class Capability:
    """One amplifier into one load at one supply voltage, under assumptions. Powers are into each load.

    `driven`: how many of its channels are; None for all.
    """

    amplifier: Amplifier
    load_ohm: float
    supply_v: float
    assumptions: Assumptions
    driven: int | None = None

    @property
    def channels(self) -> int:
        """How many are driven."""
        return self.driven or len(self.amplifier.channels)

    @property
    def _of_few(self) -> float:
        """If not all channels are driven, each may give more. This counts in the worst case."""
        are_few = self.channels < len(self.amplifier.channels) and self.assumptions is MOST
        return FEW_OVER_ALL if are_few else 1.0

    @property
    def full_w(self) -> float:
        """As much as it gives continuously."""
        return self.assumptions.over_rated * self.rated_w * self._of_few

    @property
    def burst_w(self) -> float:
        """As much as it gives for some cycles."""
        return BURST_OVER_RATED * self.rated_w * self._of_few

    @property
    def rated_w(self) -> float:
        """What the plate says at the nominal voltage, as it is at this voltage."""
        line = _line_for(self.amplifier, self.load_ohm)
        return line.power_w * line.load_ohm / self.load_ohm * self._of_supply

    @property
    def _of_supply(self) -> float:
        """What the supply voltage makes of the power at the nominal one."""
        ratio = self.supply_v / self.amplifier.supply.nominal_v
        match self.amplifier.rails:
            case "regulated":
                return 1.0
            case None if self.assumptions is MOST:
                return max(ratio, 1.0) ** 2
            case _:
                return ratio**2

    def given_w(self, asked_w: float) -> float:
        """What comes of a sine that would be so much power without clipping."""
        return min(asked_w, 2.0 * self.full_w * _clipped(self._drive(asked_w)).square)

    def supply_w(self, asked_w: float) -> float:
        """What the supply gives for a sine that would be so much power in each load, beyond what it gives at idle."""
        channels = self.channels
        if self.amplifier.amplifier_class == "D":
            return channels * self.given_w(asked_w) / self.assumptions.switching
        current = _clipped(self._drive(asked_w)).absolute * math.pi / 2.0
        return channels * self.full_w * current / self.assumptions.linear

    def supply_a(self, asked_w: float) -> float:
        """The supply's current then, idle current included."""
        return self.supply_w(asked_w) / self.supply_v + idle_a(self.amplifier, self.supply_v)

    def _drive(self, asked_w: float) -> float:
        """The amplitude that is asked for, over the highest that is not clipped."""
        return math.sqrt(asked_w / self.full_w)


def idle_a(amplifier: Amplifier, supply_v: float) -> float:
    """What the undriven amplifier draws, as far as its maker says; what is lost in switching rises with the rails."""
    return (amplifier.idle_current_a or 0.0) * max(supply_v / amplifier.supply.nominal_v, 1.0)


class _Means(NamedTuple):
    """Of a cycle of a sine whose tips are clipped at 1."""

    absolute: float
    square: float


def _clipped(amplitude: float) -> _Means:
    """The integrals over a quarter of a cycle, up to where the tip is cut off and from there on."""
    if amplitude <= 1.0:
        return _Means(2.0 / math.pi * amplitude, amplitude**2 / 2.0)
    cut = math.asin(1.0 / amplitude)
    flat = math.pi / 2.0 - cut
    rising = amplitude * (1.0 - math.cos(cut))
    rising_square = amplitude**2 * (cut / 2.0 - math.sin(2.0 * cut) / 4.0)
    return _Means(2.0 / math.pi * (rising + flat), 2.0 / math.pi * (rising_square + flat))


def _line_for(amplifier: Amplifier, load_ohm: float) -> Rating:
    """The plate's line for this load, or the nearest for a lighter one, whose voltage this load does not exceed; of a
    load lighter than all, the lightest."""
    exact = amplifier.rating(load_ohm)
    if exact is not None:
        return exact
    lighter = [line for line in amplifier.rated if line.load_ohm >= load_ohm]
    if lighter:
        return min(lighter, key=lambda line: line.load_ohm)
    return max(amplifier.rated, key=lambda line: line.load_ohm)
