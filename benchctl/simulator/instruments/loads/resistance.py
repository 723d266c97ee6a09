"""What an electronic load truly is to the amplifier when it is set to a resistance."""

from __future__ import annotations

from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.model.description import LoadDescription

SHORTED_OHM = 1e-3
"""The errors never make a load lower than the resistance of its leads."""


class TrueResistance:
    """One setting for all inputs, each with an error of its own: a part of the setting and a fixed part."""

    def __init__(self, physical_bench: PhysicalBench, description: LoadDescription) -> None:
        self._loads = physical_bench.connections.loads
        self._errors = {
            channel: physical_bench.true_errors.error(
                f"load {channel}", description.resistance, description.highest_ohm
            )
            for channel in description.channels
        }

    def set_to(self, resistance_ohm: float, *, connected: bool) -> None:
        """Be this resistance, or nothing at all."""
        for resistor in self._loads.resistors:
            true_ohm = self._errors[resistor.true_errors.channel].indicated(resistance_ohm)
            self._loads.set_resistance(resistor, max(true_ohm, SHORTED_OHM))
            self._loads.connect(resistor, connected=connected)
