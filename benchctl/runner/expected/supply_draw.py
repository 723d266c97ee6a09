"""What a drive is expected to take from the supply, and how much of that becomes heat."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from benchctl.quantity import render
from benchctl.runner.expected.capability import Capability

# After so long a reservoir has nothing left to add (common practice: it holds for about ten milliseconds).
RESERVOIR_S = 0.1


@dataclass(frozen=True)
class Bursts:
    """Bursts that follow each other: the part of the time in which they play, the level between them over their own,
    and how long one is.
    """

    duty: float
    low_level_ratio: float
    burst_s: float


def burst_too_long_in_words(cycles: int, burst_s: float, every_s: float) -> str:
    """Why bursts do not fit into their period."""
    return (
        f"a burst of {cycles} cycles lasts {render(burst_s, 's')} and one begins every {render(every_s, 's')}; "
        "take fewer cycles, or a longer 'every'"
    )


@dataclass(frozen=True)
class SupplyDraw:
    """What drives are expected to take in all.

    Attributes:
        for_s: how long they last.
        supply_j: energy from the supply, beyond what it gives at idle.
        loads_j: energy into all loads.
        peak_a: the highest current.
        read_a: the highest current that the supply reads; if the reservoir supplies the bursts, their mean.
        unbroken_s: how long it reads that without a pause.
    """

    for_s: float = 0.0
    supply_j: float = 0.0
    loads_j: float = 0.0
    peak_a: float = 0.0
    read_a: float = 0.0
    unbroken_s: float = 0.0

    @property
    def heat_w(self) -> float:
        """What stays in the amplifier while it is driven, on average, beyond its idle heat."""
        return (self.supply_j - self.loads_j) / self.for_s if self.for_s else 0.0


def draw_of(amplifier: Capability, asked_w: float, for_s: float, bursts: Bursts | None = None) -> SupplyDraw:
    """The draw of a sine that would have so much power in each load without clipping, steady or in bursts."""
    channels = amplifier.channels
    supply_w, load_w = amplifier.supply_w(asked_w), amplifier.given_w(asked_w)
    peak_a = read_a = amplifier.supply_a(asked_w)
    unbroken_s = for_s
    if bursts is not None:
        rest_w, rest_part = asked_w * bursts.low_level_ratio**2, 1.0 - bursts.duty
        supply_w = bursts.duty * supply_w + rest_part * amplifier.supply_w(rest_w)
        load_w = bursts.duty * load_w + rest_part * amplifier.given_w(rest_w)
        if bursts.burst_s <= RESERVOIR_S:
            read_a = bursts.duty * peak_a + rest_part * amplifier.supply_a(rest_w)
        else:
            unbroken_s = bursts.burst_s
    return SupplyDraw(for_s, supply_w * for_s, channels * load_w * for_s, peak_a, read_a, unbroken_s)


def together(draws: Iterable[SupplyDraw]) -> SupplyDraw:
    """The draw of one drive after the other."""
    every = tuple(draws)
    return SupplyDraw(
        for_s=sum(draw.for_s for draw in every),
        supply_j=sum(draw.supply_j for draw in every),
        loads_j=sum(draw.loads_j for draw in every),
        peak_a=max((draw.peak_a for draw in every), default=0.0),
        read_a=max((draw.read_a for draw in every), default=0.0),
        unbroken_s=max((draw.unbroken_s for draw in every), default=0.0),
    )
