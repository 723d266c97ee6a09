"""What the fit tells of the amplifier: each quantity with its uncertainty, or "untold" with the reason.

A quantity is told if the records, and not what is plausible of any amplifier, make its interval: its standard
uncertainty is at most a quarter of the plausible one.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from benchctl.fit.allowance import with_allowance
from benchctl.fit.fitting import Fitted, Misfit
from benchctl.fit.model.assembled import HARDEST, efficiency_of, told_of_converter
from benchctl.fit.parameters import Samples
from benchctl.fit.reading.items import CURRENT

MOST_OF_PLAUSIBLE = 0.25
CYCLES_OF_RESERVOIR = 1.0
"""A rail whose time constant is shorter than this many cycles of the fastest burst is not followed by any burst."""

MOST_UNEXPLAINED = 1.0 / 3.0
"""Of all signals of all records: with more beyond chance, the amplifier does what the model does not know."""

MOST_OFF_IN_BURSTS = 0.01
"""Of what bursts take from the supply: with more of it unexplained, the rails do not move like one reservoir behind one
resistance. Fits of dry runs whose rails do so leave at most 0.3 % on untidy benches."""

BEND, BEND_OF_CLASS_D = 0.01, 0.003
"""Part of the knee that may come from a bend of another form than the model's, as a standard uncertainty; set
after trials on simulated amplifiers."""

LEAST_OF_CLASS_D = 0.02
"""A knee that is smaller is lost in the low-pass against the carrier."""

BELOW_CLIPPING = ("output_resistance", "gain", "dc", "idle_current")
"""What records far below clipping tell."""

_STEP = 1e-4


@dataclass(frozen=True)
class Quantity:
    """One of them.

    `expanded_uncertainty` is for k = 2; `untold` says why there is no value, '' where there is one.
    """

    name: str
    words: str
    unit: str
    value: float
    expanded_uncertainty: float
    untold: str = ""
    channel: str = ""

    @property
    def is_told(self) -> bool:
        """Whether it has a value."""
        return not self.untold


def quantities(fitted: Fitted) -> tuple[Quantity, ...]:
    """All of them, in the order in which a person asks; none is told where the model explains too little, and none that
    follows from clipping where no record is left at a level that was searched for it."""
    found = tuple(_Telling(fitted).all())
    if reason := _unexplained(fitted):
        return tuple(each if each.untold else _untold(each, reason) for each in found)
    if any(take.is_searched for take in fitted.run.takes):
        return found
    reason = "no record is left at a level that was searched for clipping"
    return tuple(each if each.untold or each.name in BELOW_CLIPPING else _untold(each, reason) for each in found)


def _unexplained(fitted: Fitted) -> str:
    """Why no value can be trusted; '' where they can."""
    beyond = sum(misfit.is_beyond_chance for misfit in fitted.misfits)
    if beyond <= MOST_UNEXPLAINED * len(fitted.misfits):
        return ""
    return f"the model does not explain {beyond} of the {len(fitted.misfits)} signals of this run within chance"


class _Telling:
    def __init__(self, fitted: Fitted) -> None:
        self._fitted = fitted
        self._parameters = fitted.parameters
        self._coordinates = fitted.solution.coordinates
        self._covariance = with_allowance(fitted)
        self._spread = np.sqrt(np.diag(self._covariance))

    def all(self) -> Iterator[Quantity]:
        yield from self._rails()
        yield self._derived(
            "headroom",
            "headroom of an output: rail less saturation, unloaded",
            "V",
            "headroom_v",
            lambda of: of("headroom_v"),
        )
        yield from self._apart()
        yield self._derived(
            "input_ratio",
            "amperes of supply for an ampere of rail (n/eta)",
            "1",
            told_of_converter(self._fitted.kind),
            lambda of: (of("headroom_v") + of("saturation_v")) / self._fitted.nominal_v / self._efficiency(of),
        )
        yield self._output_resistance()
        if self._fitted.kind.switching:
            conduction = self._derived(
                "conduction_resistance",
                "resistance in the path of the output current",
                "ohm",
                "conduction_ohm",
                lambda of: of("conduction_ohm"),
            )
            yield _untold(conduction, "other losses that grow with the output look the same")
        yield self._knee()
        for channel in self._fitted.run.amplifier.channels:
            gain = self._derived(
                "gain", f"gain of channel {channel}, without load", "1", f"gain {channel}", _named(f"gain {channel}")
            )
            dc = self._derived("dc", f"dc at output {channel}", "V", f"dc {channel}", _named(f"dc {channel}"))
            yield from (replace(each, channel=channel) for each in (gain, dc))
        yield self._derived("idle_current", "idle current of the supply", "A", "idle_a", lambda of: of("idle_a"))
        yield Quantity(
            "bias_current",
            "bias of the output stages apart from what converter and small stages take",
            "A",
            math.nan,
            math.nan,
            untold="both are constant currents, and nothing electrical tells one from the other",
        )

    def _efficiency(self, of: Callable[[str], float]) -> float:
        return efficiency_of(of, self._fitted.kind, self._fitted.nominal_v)

    def _rails(self) -> Iterator[Quantity]:
        stiffness = self._derived(
            "rail_stiffness",
            "source resistance of the rails, both as one",
            "ohm",
            "stiffness_ohm",
            _named("stiffness_ohm"),
        )
        reservoir = self._derived(
            "reservoir", "reservoir of the rails, both as one", "F", "reservoir_f", _named("reservoir_f")
        )
        reason = self._too_fast() or self._not_as_one()
        for found in (stiffness, reservoir):
            yield found if not reason else _untold(found, reason)

    def _too_fast(self) -> str:
        """Why no burst of this run follows the rails; '' if one does."""
        values = self._parameters.values(self._coordinates)
        constant_s = values[self._parameters.place("stiffness_ohm")] * values[self._parameters.place("reservoir_f")]
        tones = [take.frequency_hz for take in self._fitted.run.takes if take.shape == "burst"]
        if not tones:
            return "no burst was recorded, and only the fall within a burst tells them apart"
        if constant_s * min(tones) < CYCLES_OF_RESERVOIR:
            return f"the rails recover within a cycle of {min(tones):.4g} Hz; only what both do together is seen"
        return ""

    def _not_as_one(self) -> str:
        """Why the rails cannot be taken as one; '' if they can, as far as the supply's current under bursts tells."""
        bursts = [each for each in self._fitted.misfits if each.take.shape == "burst" and each.signal == CURRENT]
        off = [_part_unexplained(each) for each in bursts if each.is_beyond_chance]
        if not bursts or len(off) < len(bursts) or min(off) < MOST_OFF_IN_BURSTS:
            return ""
        return (
            f"{100.0 * max(off):.1f} % of what bursts take from the supply is not explained by one reservoir; it may "
            "be that one rail has a dry capacitor"
        )

    def _apart(self) -> Iterator[Quantity]:
        """Rail, saturation and efficiency: only a second supply voltage tells them apart."""
        nominal_v = self._fitted.nominal_v
        saturation = self._derived(
            "saturation", "what an output stage leaves of its rail", "V", "saturation_v", _named("saturation_v")
        )
        rail = self._derived(
            "rail",
            f"each rail, unloaded, at {nominal_v:g} V",
            "V",
            "saturation_v",
            lambda of: of("headroom_v") + of("saturation_v"),
        )
        efficiency = self._derived(
            "converter_efficiency",
            "efficiency of the converter",
            "%",
            "saturation_v",
            self._efficiency,
        )
        voltages = {take.supply_v for take in self._fitted.run.takes if take.shape != "rest"}
        for each in (rail, saturation, efficiency):
            if len(voltages) < 2:
                reason = "at one supply voltage rail, saturation and efficiency cannot be told apart"
                yield _untold(each, f"{reason}; measure clean level and continuous power at a second one")
            else:
                yield each

    def _output_resistance(self) -> Quantity:
        found = self._derived(
            "output_resistance", "resistance of each output", "ohm", "output_ohm", _named("output_ohm")
        )
        loads = sorted({round(load.nominal_ohm, 3) for take in self._fitted.run.takes for load in take.loads.values()})
        if found.is_told or len(loads) > 1:
            return found
        return _untold(found, "one load does not tell it; measure into a second one")

    def _knee(self) -> Quantity:
        found = self._derived("knee", "part of the swing over which clipping sets in", "%", "knee", _named("knee"))
        bend = BEND_OF_CLASS_D if self._fitted.kind.switching else BEND
        u = math.hypot(found.expanded_uncertainty, 2.0 * bend * found.value)
        found = replace(found, expanded_uncertainty=u)
        is_held = self._parameters.place("knee") in self._fitted.solution.held
        if is_held or found.value - found.expanded_uncertainty <= HARDEST:
            return _untold(found, "it clips too hard to see how clipping sets in")
        if self._fitted.kind.switching and found.value < LEAST_OF_CLASS_D:
            return _untold(found, "the low-pass against the carrier rounds a bend that is so sharp")
        return found

    def _derived(
        self, name: str, words: str, unit: str, told_by: str, formula: Callable[[Callable[[str], float]], float]
    ) -> Quantity:
        value = self._value(formula, self._coordinates)
        slopes = np.zeros(len(self._coordinates))
        for place, parameter in enumerate(self._parameters.each):
            if parameter.reach == "all":
                moved = self._coordinates.copy()
                moved[place] += _STEP
                slopes[place] = (self._value(formula, moved) - value) / _STEP
        u = math.sqrt(float(slopes @ self._covariance @ slopes))
        found = Quantity(name, words, unit, value, 2.0 * u)
        if self._spread[self._parameters.place(told_by)] > MOST_OF_PLAUSIBLE:
            return _untold(found, "the records of this run hardly depend on it")
        return found

    def _value(self, formula: Callable[[Callable[[str], float]], float], coordinates: Samples) -> float:
        values = self._parameters.values(coordinates)
        return formula(lambda name: float(values[self._parameters.place(name)]))


def _part_unexplained(misfit: Misfit) -> float:
    """Of an item's largest departure from its first value, which is from before the burst."""
    item = misfit.take.items[misfit.signal]
    rms = math.sqrt(misfit.mean_square * float(np.mean(item.noise**2)))
    return rms / float(np.abs(item.values - item.values[0]).max())


def _named(name: str) -> Callable[[Callable[[str], float]], float]:
    return lambda of: of(name)


def _untold(quantity: Quantity, reason: str) -> Quantity:
    return replace(quantity, untold=reason)
