"""Repeated readings of meters (supply read-back, thermometer) as uncertain numbers, each meter's error one variable."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from copy import copy

from uncertainties import UFloat

from benchctl.measure.budget.figure import Figure, figure_of
from benchctl.measure.budget.resolution import rounding_of
from benchctl.measure.uncertainty import Accuracy, ErrorOf, mean_of, means_together, rectangular

Readings = Mapping[str, Sequence[float]]

_VOLTAGE, _CURRENT = "supply_voltage", "supply_current"


class Meters:
    """The means of `readings`, with their scatter and the meters' errors.

    Supply voltage and current are read in turn, so their scatter is taken together: a sinking voltage that goes with
    a rising current changes their product less than either. A supply may show them in coarse steps.
    """

    def __init__(self, readings: Readings, accuracy: Mapping[str, Sequence[Accuracy]]) -> None:
        means = {name: mean_of(values, f"reading of {name}: scatter") for name, values in readings.items() if values}
        if _VOLTAGE in means and _CURRENT in means:
            means[_VOLTAGE], means[_CURRENT] = means_together(readings[_VOLTAGE], readings[_CURRENT])
        for name in means.keys() & {_VOLTAGE, _CURRENT}:
            means[name] += rounding_of(readings[name], accuracy.get(name, ()))
        self._values = {
            name: ErrorOf(accuracy.get(name, ()), of=f"reading of {name}").on(mean) for name, mean in means.items()
        }

    def get(self, name: str) -> UFloat | None:
        """The reading's value; None where none was taken."""
        return self._values.get(name)

    def with_swing(self, name: str, peak_to_peak: float) -> Meters:
        """The same, where each reading of a quantity may have been taken anywhere in its swing."""
        doubted = copy(self)
        doubted._values = dict(self._values)
        if name in doubted._values and peak_to_peak > 0.0:
            doubted._values[name] += rectangular(0.0, peak_to_peak / 2.0, f"reading of {name}: swing while it was read")
        return doubted

    def supply_power(self) -> UFloat | None:
        """Supply voltage times current in W; None where one of them was not read."""
        voltage, current = self.get(_VOLTAGE), self.get(_CURRENT)
        return None if voltage is None or current is None else voltage * current

    def figures(self, name: str, reading: str, unit: str) -> list[Figure]:
        """The reading as the figure `name`; no figure where it was not taken."""
        value = self.get(reading)
        return [] if value is None else [figure_of(name, value, unit)]

    def temperatures(self) -> list[Figure]:
        """Of the heatsink and of the air around the bench."""
        heatsink = self.figures("heatsink_temperature", "heatsink", "degC")
        return heatsink + self.figures("ambient_temperature", "ambient", "degC")


def _chain(name: str, accuracy: Mapping[str, Sequence[Accuracy]]) -> ErrorOf:
    return ErrorOf(accuracy.get(name, ()), of=f"reading of {name}")
