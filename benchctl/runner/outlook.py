"""What can be foreseen of a run without touching anything: time, power, current, and what speaks against it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TypedDict

from benchctl.documents.amplifier import Amplifier
from benchctl.documents.bench import Bench
from benchctl.quantity import render
from benchctl.runner.capability import BURST_OVER_RATED, MOST, Capability

# After so long a reservoir has nothing left to add (common practice: it holds for about ten milliseconds).
RESERVOIR_S = 0.1


class Power(TypedDict):
    """What a step puts into one load resistor, and what the supply gives for it: the most that it lasts for, and the
    root mean square of it, which warms a fuse."""

    load_ohm: float | None
    load_w: float
    for_s: float
    supply_a: float
    fuse_a: float
    output_peak_v: float


@dataclass(frozen=True)
class Bursts:
    """Bursts that follow each other: the part of the time that they last, the level between them over that in them,
    and how long one is."""

    duty: float
    low_level_ratio: float
    burst_s: float


@dataclass(frozen=True)
class Forecast:
    """One step: how long it takes, `at_most_s` where that is open, and its worst power (zeros where undriven)
    with the load that takes it."""

    duration_s: float
    at_most_s: float | None = None
    load_ohm: float | None = None
    load_w: float = 0.0
    for_s: float = 0.0
    supply_a: float = 0.0
    fuse_a: float = 0.0
    output_peak_v: float = 0.0

    @property
    def energy_j(self) -> float:
        """Into one load resistor."""
        return self.load_w * self.for_s


@dataclass
class Outlook:
    """The state that the bench will be in when a step begins, as far as the documents tell."""

    bench: Bench
    amplifier: Amplifier
    supply_v: float | None = None
    current_limit_a: float | None = None
    load_ohm: float | None = None
    frequency_hz: float | None = None
    level_v: float | None = None
    clean_levels: set[tuple[float | None, float | None]] = field(default_factory=set)
    unattended: bool = False
    hazards: list[str] = field(default_factory=list)

    def hazard(self, text: str) -> None:
        """Note what speaks against the step that is looked at."""
        self.hazards.append(text)

    def will_find_clean_level(self) -> None:
        """Note that from now on a clean level is known for the load and the frequency that are set."""
        self.clean_levels.add((self.load_ohm, self.frequency_hz))

    def needs_clean_level(self, instead: str) -> None:
        """Note a hazard unless a clean level will be known for this load and this frequency; `instead`: what to give.

        A level that was found for another load or frequency is none for these. Where one of them is not set, that is
        the hazard to tell.
        """
        if (
            self.load_ohm is None
            or self.frequency_hz is None
            or (self.load_ohm, self.frequency_hz) in self.clean_levels
        ):
            return
        place = f"{render(self.load_ohm, 'ohm')} and {render(self.frequency_hz, 'Hz')}"
        self.hazard(
            f"no level is given, and no find_clean_level comes before it at {place}; put one before it, or {instead}"
        )

    def tone(self, level_v: float, *, for_s: float, bursts: Bursts | None = None) -> Power:
        """A tone at a level of V rms, steady or in bursts; clipped where that is more than the amplifier can give."""
        most = self._most()
        return self._power(most, (level_v * self.amplifier.gain_ratio) ** 2 / most.load_ohm, for_s, bursts)

    def full_power(self, *, for_s: float, bursts: Bursts | None = None) -> Power:
        """As much as the amplifier gives without end, steady or in bursts."""
        most = self._most()
        return self._power(most, most.full_w, for_s, bursts)

    def full_bursts(self, *, for_s: float, longest_s: float) -> Power:
        """As much as the amplifier gives in single bursts that last `for_s` in all, the longest of them `longest_s`.

        The reservoir adds to the power of a short burst, and bears its current; one that outlasts the reservoir draws
        from the supply what a steady tone does.
        """
        most = self._most()
        power = self._power(most, most.full_w, for_s)
        power["load_w"] = most.burst_w
        power["output_peak_v"] = math.sqrt(2.0 * most.burst_w * most.load_ohm)
        if longest_s <= RESERVOIR_S:
            power["supply_a"] *= BURST_OVER_RATED / MOST.over_rated
        return power

    def _most(self) -> Capability:
        """The most that the amplifier may give; into a rated load where none is set, which is a hazard of its own."""
        load_ohm = self.load_ohm or self.amplifier.rated[0].load_ohm
        return Capability(self.amplifier, load_ohm, self.supply_v or self.amplifier.supply.nominal_v, MOST)

    def _power(self, most: Capability, asked_w: float, for_s: float, bursts: Bursts | None = None) -> Power:
        """Into one load; of bursts that follow each other load and fuse feel the mean, and the supply each of them that
        outlasts the reservoir."""
        burst_w, burst_a = most.given_w(asked_w), most.supply_a(asked_w)
        power = Power(
            load_ohm=self.load_ohm,
            load_w=burst_w,
            for_s=for_s,
            supply_a=burst_a,
            fuse_a=burst_a,
            output_peak_v=math.sqrt(2.0 * min(asked_w, most.burst_w) * most.load_ohm),
        )
        if bursts is None:
            return power
        rest_w, rest_part = asked_w * bursts.low_level_ratio**2, 1.0 - bursts.duty
        rest_a = most.supply_a(rest_w)
        power["load_w"] = bursts.duty * burst_w + rest_part * most.given_w(rest_w)
        power["fuse_a"] = math.sqrt(bursts.duty * burst_a**2 + rest_part * rest_a**2)
        if bursts.burst_s <= RESERVOIR_S:
            power["supply_a"] = bursts.duty * burst_a + rest_part * rest_a
        return power
