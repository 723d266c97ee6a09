"""What the fit to an earlier run of this unit tells of its power and draw, in the form of assumptions.

What to expect is taken from it. The worst case is the worse of plate and fit, so that no hazard is ever judged milder.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.fit.prediction.asked import Predicted
from benchctl.fit.twin.expecting import Refused, Twin
from benchctl.fit.twin.surroundings import SET_WITHIN_V, Surroundings, Uncertain
from benchctl.runner.expected.capability import EXPECTED, MOST, Assumptions, Capability, idle_a

LOAD_WITHIN = 0.01
"""How well a resistor has its nominal value, as a part of it (common practice)."""


@dataclass(frozen=True)
class FittedPower:
    """At a load and a supply voltage: the figures that were predicted, and the assumptions that they make."""

    load_ohm: float
    supply_v: float
    power: Predicted
    current: Predicted
    expected: Assumptions
    most: Assumptions


@dataclass
class FittedPowers:
    """All that was asked for in a preflight, each reckoned once."""

    amplifier: Amplifier
    bench: Bench
    _found: dict[tuple[float, float], FittedPower | None] = field(default_factory=dict)

    def at(self, load_ohm: float, supply_v: float) -> FittedPower | None:
        """None where there is no fit, or it does not carry that."""
        place = (load_ohm, supply_v)
        if place not in self._found:
            self._found[place] = self._reckoned(load_ohm, supply_v)
        return self._found[place]

    @property
    def used(self) -> list[FittedPower]:
        """Those that the fit has told."""
        return [each for each in self._found.values() if each is not None]

    def _reckoned(self, load_ohm: float, supply_v: float) -> FittedPower | None:
        fitted = self.amplifier.fitted
        if fitted is None or not fitted.tones:
            return None
        twin = Twin(self.amplifier, fitted, self.bench.title)
        at = self._surroundings(load_ohm, supply_v, fitted.tones[0])
        tone = twin.clean_tone(at)
        if isinstance(tone, Refused):
            return None
        burst = twin.clean_burst(at, 1, 0.0)
        power = max((each for each in tone if each.name == "continuous_power"), key=lambda each: each.value)
        current = next(each for each in tone if each.name == "supply_current")
        if current.value <= idle_a(self.amplifier, supply_v):
            return None  # no more than at rest by the plate, so nothing is left that the drive could be said to take
        burst_w = 0.0 if isinstance(burst, Refused) else max(each.value + each.expanded_uncertainty for each in burst)
        return self._power(load_ohm, supply_v, power, current, burst_w)

    def _power(
        self, load_ohm: float, supply_v: float, power: Predicted, current: Predicted, most_burst_w: float
    ) -> FittedPower:
        rated_w = Capability(self.amplifier, load_ohm, supply_v, EXPECTED).rated_w
        channels, idle = len(self.amplifier.channels), idle_a(self.amplifier, supply_v)

        def part(full_w: float, full_a: float) -> float:
            return channels * full_w / ((full_a - idle) * supply_v)

        of_expected = part(power.value, current.value)
        over_rated = max(MOST.over_rated, (power.value + power.expanded_uncertainty) / rated_w)
        of_most = part(over_rated * rated_w, current.value + current.expanded_uncertainty)
        expected = Assumptions(power.value / rated_w, of_expected, of_expected)
        most = replace(
            MOST,
            over_rated=over_rated,
            linear=min(MOST.linear, of_most),
            switching=min(MOST.switching, of_most),
            burst_over_rated=max(MOST.burst_over_rated, most_burst_w / rated_w),
        )
        return FittedPower(load_ohm, supply_v, power, current, expected, most)

    def _surroundings(self, load_ohm: float, supply_v: float, tone_hz: float) -> Surroundings:
        channels, supply = self.amplifier.channels, self.bench.instruments.supply
        return Surroundings(
            load_ohm=load_ohm,
            loads=dict.fromkeys(channels, Uncertain(load_ohm, LOAD_WITHIN * load_ohm / math.sqrt(3.0))),
            supply_set_v=supply_v,
            supply=Uncertain(supply_v, SET_WITHIN_V),
            senses_terminals=supply is not None and supply.main.remote_sense,
            leads_ohm=None if supply is None else supply.main.leads_ohm,
            frequency_hz=tone_hz,
            driven=tuple(channels),
        )
