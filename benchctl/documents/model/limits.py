"""Limits: bounds that are watched from the first step of a run to the last."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Annotated, Any, ClassVar

from pydantic import Field

from benchctl.documents.model.fields import (
    Amperes,
    Celsius,
    KelvinsPerSecond,
    NotNegativeSeconds,
    OutputName,
    SensorName,
    Volts,
    bounded,
)
from benchctl.documents.model.model_base import Part, PathProblem
from benchctl.quantity import render

_ABOVE: Any = Field(default=None, description="a reading above this trips")
_BELOW: Any = Field(default=None, description="a reading below this trips")
_OUTSIDE: Any = Field(default=None, description="a reading further from zero than this, to either side, trips")


class Limit(Part):
    """One signal's bounds, in the signal's `unit`; `low` and `high` are infinite where nothing is asked."""

    unit: ClassVar[str] = ""
    sentence: ClassVar[str] = ""  # what has happened once it is passed, where that says more than the reading

    above: float | None = _ABOVE
    below: float | None = _BELOW
    outside: float | None = _OUTSIDE
    for_s: NotNegativeSeconds = Field(
        default=0.0, description="how long the bound must stay passed before the limit trips; 0 s: it trips at once"
    )

    @property
    def low(self) -> float:
        """The lowest value that does not trip."""
        if self.outside is not None:
            return -self.outside
        return -math.inf if self.below is None else self.below

    @property
    def high(self) -> float:
        """The highest value that does not trip."""
        if self.outside is not None:
            return self.outside
        return math.inf if self.above is None else self.above

    def is_passed(self, value: float, limit_of_error: float = 0.0) -> bool:
        """Whether a reading lies beyond the bounds by more than its limit of error; one that is not a number does."""
        return not (self.low <= value + limit_of_error and value - limit_of_error <= self.high)

    def patience_s(self, value: float | None) -> float:  # noqa: ARG002 - a kind of limit may look at it
        """How long such a reading may stay before the limit trips; None is one that could not be read."""
        return self.for_s

    @property
    def steepest(self) -> float:
        """The fastest rise that does not trip, in the signal's unit per second; infinite where nothing is asked."""
        return math.inf

    def __str__(self) -> str:
        words = [f"{word} {render(bound, self.unit)}" for word, bound in self._given().items()]
        if math.isfinite(self.steepest):
            words.append(f"rising faster than {self.steepest * 60:.4g} K/min")
        duration = [f"for {render(self.for_s, 's')}"] if self.for_s else []
        return " or ".join(words) + "".join(f" {words}" for words in duration)

    def _given(self) -> dict[str, float]:
        bounds = {"above": self.above, "below": self.below, "outside": self.outside}
        return {word: bound for word, bound in bounds.items() if bound is not None}

    def problems(self) -> Iterator[PathProblem]:
        given = self._given()
        if not given and math.isinf(self.steepest):
            yield PathProblem((), "a limit without a bound; give 'above', 'below' or 'outside'")
        if "outside" in given and len(given) > 1:
            yield PathProblem(("outside",), "'outside' sets both bounds already; give it alone, or 'above' and 'below'")
        if self.outside is not None and self.outside <= 0:
            yield PathProblem(
                ("outside",), f"{render(self.outside, self.unit)} is out of range; it must be more than zero"
            )
        if self.above is not None and self.below is not None and self.below >= self.above:
            yield PathProblem(
                ("below",),
                f"no reading can pass: below {self.below:g} {self.unit} and above {self.above:g} {self.unit}",
            )


class CurrentLimit(Limit):
    """Bounds on a current."""

    unit: ClassVar[str] = "A"

    above: Amperes | None = _ABOVE
    below: Amperes | None = _BELOW
    outside: Amperes | None = _OUTSIDE


class VoltageLimit(Limit):
    """Bounds on a voltage."""

    unit: ClassVar[str] = "V"

    above: Volts | None = _ABOVE
    below: Volts | None = _BELOW
    outside: Volts | None = _OUTSIDE


class TemperatureLimit(Limit):
    """Bounds on a temperature."""

    unit: ClassVar[str] = "degC"

    above: Celsius | None = _ABOVE
    below: Celsius | None = _BELOW
    outside: Celsius | None = _OUTSIDE
    rising_k_per_s: Annotated[KelvinsPerSecond, bounded("K/s", above=0)] | None = Field(
        default=None, description="a rise faster than this trips, such as `10 K/min`"
    )

    @property
    def steepest(self) -> float:
        return math.inf if self.rising_k_per_s is None else self.rising_k_per_s


MAIN_OUTPUT = "main"
# What a thermometer channel may be called that has a key of its own.
KNOWN_SENSORS = ("heatsink", "ambient", "load")
HEATSINK = "heatsink"
AMBIENT = "ambient"
_OUTPUT = "output "


def output_of(signal: str) -> str | None:
    """The amplifier channel of a signal such as `output B`; None of any other signal."""
    return signal.removeprefix(_OUTPUT) if signal.startswith(_OUTPUT) else None


def output_signal(quantity: str, output: str) -> str:
    """What is watched of a supply output: `supply_voltage` of the main one, `supply_voltage_remote` of another."""
    return f"supply_{quantity}" if output == MAIN_OUTPUT else f"supply_{quantity}_{output}"


SUPPLY_SIGNALS = (output_signal("voltage", MAIN_OUTPUT), output_signal("current", MAIN_OUTPUT))
"""What is read of the main output, in the order in which a supply answers."""
SUPPLY_VOLTAGE = SUPPLY_SIGNALS[0]


class OutputLimits(Part):
    """The limits of one further output of the supply."""

    current: CurrentLimit | None = Field(default=None, description="current of this output")
    voltage: VoltageLimit | None = Field(
        default=None, description="voltage of this output, between power_on and power_off"
    )

    def items(self) -> Iterator[tuple[str, Limit]]:
        """The quantities that are limited, each with its limit."""
        for quantity, limit in (("current", self.current), ("voltage", self.voltage)):
            if limit is not None:
                yield quantity, limit

    def problems(self) -> Iterator[PathProblem]:
        if self.current is None and self.voltage is None:
            yield PathProblem((), "nothing is limited; give 'current' or 'voltage'")


class Limits(Part):
    """The limits of a bench or a sequence, by the signal they watch."""

    supply_current: CurrentLimit | None = Field(default=None, description="current of the main supply output")
    supply_voltage: VoltageLimit | None = Field(
        default=None,
        description="voltage of the main supply output; a lower bound holds between power_on and power_off",
    )
    supply_outputs: dict[OutputName, OutputLimits] = Field(
        default_factory=dict, description="further outputs of the supply by name, such as the turn-on lead's"
    )
    heatsink: TemperatureLimit | None = Field(default=None, description="temperature of the amplifier's heatsink")
    ambient: TemperatureLimit | None = Field(default=None, description="temperature of the air around the bench")
    load: TemperatureLimit | None = Field(default=None, description="temperature of the load resistors")
    temperatures: dict[SensorName, TemperatureLimit] = Field(
        default_factory=dict,
        description="temperatures of further sensors, by their names under the thermometer's `others`",
    )
    output_offset: VoltageLimit | None = Field(
        default=None, description="dc at any amplifier output, checked in each record of the oscilloscope"
    )

    def items(self) -> tuple[tuple[str, Limit], ...]:
        """The signals that are watched, each with its limit, in a fixed order."""
        return tuple(self._items())

    def _items(self) -> Iterator[tuple[str, Limit]]:
        for name in type(self).model_fields:
            match given := getattr(self, name):
                case Limit():
                    yield name, given
                case dict() if name == "supply_outputs":
                    for output, limits in self.supply_outputs.items():
                        yield from ((output_signal(quantity, output), limit) for quantity, limit in limits.items())
                case dict():
                    yield from self.temperatures.items()

    def problems(self) -> Iterator[PathProblem]:
        for name in self.temperatures:
            if name in KNOWN_SENSORS:
                yield PathProblem(("temperatures", name), f"'{name}' stands under 'limits' itself", is_key=True)
        if MAIN_OUTPUT in self.supply_outputs:
            message = "'main' is limited by 'supply_current' and 'supply_voltage' under 'limits' itself"
            yield PathProblem(("supply_outputs", MAIN_OUTPUT), message, is_key=True)
