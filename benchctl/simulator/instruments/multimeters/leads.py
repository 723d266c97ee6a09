"""A simulated multimeter's leads: at which point they are, and what it shows of each quantity there."""

from __future__ import annotations

from typing import Literal

from benchctl.scpi.errors import ScpiError
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.hardware.points import Points
from benchctl.simulator.model.description import MultimeterDescription, Spec
from benchctl.simulator.model.true_errors import TrueError

Quantity = Literal["dc voltage", "ac voltage", "resistance", "temperature"]

DECADES = (0.1, 1.0, 10.0, 100.0, 1000.0)
"""Its ranges in volts; those of resistance are a thousand times as many ohms."""

OVER_RANGE = 1.2
"""A range of 100 mV shows up to 120 mV (common practice)."""

NOISE_PART = 1e-6
"""RMS, of the range."""


class Leads:
    """With a scanner each channel is wired to a point; without one, a person puts the leads somewhere."""

    def __init__(self, physical_bench: PhysicalBench, description: MultimeterDescription) -> None:
        self._bench = physical_bench
        self._points = Points(physical_bench)
        self._channels = description.channels
        self._specs: dict[Quantity, Spec] = {
            "dc voltage": description.dc_voltage,
            "ac voltage": description.ac_voltage,
            "resistance": description.resistance,
            "temperature": description.temperature,
        }
        self._truth = physical_bench.true_errors
        self._chance = self._truth.stream("multimeter noise")
        for quantity in self._specs:
            self._errors(quantity, self._ranges(quantity)[0])  # so that each is known by its name

    @property
    def has_scanner(self) -> bool:
        """Whether points are chosen by channel."""
        return bool(self._channels)

    @property
    def channels(self) -> tuple[int, ...]:
        """Of the scanner: twenty of them, as a card has, and those that are wired."""
        return tuple(sorted({*range(101, 121), *self._channels}))

    def shown(self, quantity: Quantity, channel: int | None = None, range_: float | None = None) -> float | None:
        """What it shows; None for an overload, an open sensor or leads that touch nothing.

        Args:
            quantity: what it measures.
            channel: of its scanner.
            range_: the range it is set to; None, if it chooses by itself.
        """
        point = self._channels.get(channel or 0) if self.has_scanner else self._bench.connections.touched
        true = self._true(quantity, point)
        if true is None:
            return None
        ranges = self._ranges(quantity)
        full = range_ if range_ is not None else next((each for each in ranges if abs(true) <= OVER_RANGE * each), None)
        if full is None or abs(true) > OVER_RANGE * full:
            return None
        wrong = self._bench.connections.faults.factor("multimeter", point or "")
        return self._errors(quantity, full).indicated(true * wrong) + self._chance.gauss(0.0, NOISE_PART * full)

    def range_for(self, quantity: Quantity, value: float) -> float:
        """The range that a stated value chooses: the smallest that reaches it.

        Raises:
            ScpiError: none does.
        """
        found = next((full for full in self._ranges(quantity) if value <= OVER_RANGE * full), None)
        if found is None:
            raise ScpiError(-222, f"no range reaches {value:g}")
        return found

    def _true(self, quantity: Quantity, point: str | None) -> float | None:
        match quantity:
            case "dc voltage":
                return self._points.dc_v(point)
            case "ac voltage":
                return self._points.ac_v(point)
            case "resistance":
                return self._points.resistance_ohm(point)
            case _:
                return self._points.temperature_c(point)

    def _ranges(self, quantity: Quantity) -> tuple[float, ...]:
        if quantity == "temperature":
            return (1000.0,)
        return DECADES if quantity != "resistance" else tuple(1000.0 * each for each in DECADES)

    def _errors(self, quantity: Quantity, full: float) -> TrueError:
        return self._truth.error(f"multimeter {quantity}", self._specs[quantity], full)
