"""What can be foreseen of a run without touching anything: time, power, current, and what speaks against it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TypedDict

from benchctl.documents.amplifier import Amplifier
from benchctl.documents.bench import Bench
from benchctl.quantity import render

# What amplifiers give beyond their plate; common practice: a fifth without end, over half as much again in a burst.
CONTINUOUS_OVER_RATED = 1.2
BURST_OVER_RATED = 1.6
# After so long a reservoir has nothing left to add (common practice: it holds for about ten milliseconds).
RESERVOIR_S = 0.1
# Of output over supply power at full drive, pessimistic, converter included: ideal class B is pi / 4, and class D loses
# a tenth in each of its converter and its stages (common practice).
EFFICIENCY_AT_FULL = 0.55
EFFICIENCY_OF_CLASS_D = 0.75


class Power(TypedDict):
    """What a step puts into one load resistor, and what the supply gives for it."""

    load_ohm: float | None
    load_w: float
    for_s: float
    supply_a: float
    output_peak_v: float


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

    def tone(self, level_v: float, *, for_s: float) -> Power:
        """A steady tone at a level of V rms; no more than the amplifier can give."""
        if self.load_ohm is None:
            return Power(load_ohm=None, load_w=0.0, for_s=for_s, supply_a=0.0, output_peak_v=0.0)
        asked_w = (level_v * self.amplifier.gain_ratio) ** 2 / self.load_ohm
        return self._power(min(asked_w, CONTINUOUS_OVER_RATED * self._rated_w()), for_s)

    def full_power(self, *, for_s: float) -> Power:
        """As much as the amplifier gives without end."""
        return self._power(CONTINUOUS_OVER_RATED * self._rated_w(), for_s)

    def full_bursts(self, *, for_s: float, longest_s: float = 0.0) -> Power:
        """As much as the amplifier gives in bursts that last `for_s` in all, the longest of them `longest_s`.

        A burst that outlasts the reservoir draws from the supply what a steady tone does, and no more.
        """
        power = self._power(BURST_OVER_RATED * self._rated_w(), for_s)
        if longest_s > RESERVOIR_S:
            power["supply_a"] = self.full_power(for_s=for_s)["supply_a"]
        return power

    def _rated_w(self) -> float:
        """The rating for this load, or the voltage of the nearest rating on it."""
        if self.load_ohm is None:
            return 0.0
        rating = min(self.amplifier.rated, key=lambda line: abs(math.log(line.load_ohm / (self.load_ohm or 1.0))))
        # A load above the rated one takes the rated voltage; below it, no more than the rated current's worth.
        return rating.power_w * min(rating.load_ohm / self.load_ohm, 1.0)

    @property
    def _efficiency(self) -> float:
        return EFFICIENCY_OF_CLASS_D if self.amplifier.amplifier_class == "D" else EFFICIENCY_AT_FULL

    def _power(self, load_w: float, for_s: float) -> Power:
        channels = len(self.amplifier.channels)
        supply_v = self.supply_v or self.amplifier.supply.nominal_v
        return Power(
            load_ohm=self.load_ohm,
            load_w=load_w,
            for_s=for_s,
            supply_a=channels * load_w / self._efficiency / supply_v + (self.amplifier.idle_current_a or 0.0),
            output_peak_v=math.sqrt(2.0 * load_w * (self.load_ohm or 0.0)),
        )
