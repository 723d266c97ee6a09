"""The sensors behind a simulated thermometer, whatever words it speaks: what each input shows, in degrees Celsius."""

from __future__ import annotations

from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.model.description import ThermometerDescription

ZERO_C_IN_K = 273.15


class Sensors:
    """Every input with the instrument's error, its noise and its last digit."""

    def __init__(self, physical_bench: PhysicalBench, description: ThermometerDescription) -> None:
        self.inputs = tuple(sorted({*description.inputs, *description.channels}))
        self.wired = tuple(sorted(description.channels))
        self._description = description
        self._connections = physical_bench.connections
        self._errors = {
            channel: physical_bench.true_errors.error(f"thermometer {channel}", description.temperature)
            for channel in description.channels
        }
        self._chance = physical_bench.true_errors.stream("thermometer noise")

    def shown_c(self, channel: int) -> float | None:
        """What the input shows; None where no sensor is, or where its lead is broken."""
        place = self._description.channels.get(channel)
        true_c = None if place is None else self._connections.sensors.shown_c(place)
        if true_c is None:
            return None
        shown_c = self._errors[channel].indicated(true_c) + self._chance.gauss(0.0, self._description.noise_k)
        step_k = self._description.simulated.step_k
        return round(shown_c / step_k) * step_k if step_k else shown_c
