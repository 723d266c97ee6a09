"""One output of a simulated supply as the instrument knows it: settings asked for, errors of its own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from benchctl.simulator.hardware.supply_outputs import OVERCURRENT_DELAY_S, SupplyOutput
from benchctl.simulator.hardware.watchdog import WatchdogSettings
from benchctl.simulator.model.description import SupplyDescription, SupplyOutputDescription
from benchctl.simulator.model.true_errors import TrueErrors

PROTECTION_HEADROOM = 1.1
"""How far above the output's maximum a protection level can be set."""


@dataclass(frozen=True)
class OutputSettings:
    """Settings of one output as they were asked for, without whether it is on."""

    voltage_v: float
    limit_a: float
    overvoltage_v: float
    overcurrent_a: float
    overvoltage_enabled: bool = True
    overcurrent_enabled: bool = False
    overcurrent_delay_s: float = OVERCURRENT_DELAY_S
    remote_sense: bool = False


@dataclass(frozen=True)
class SupplySettings:
    """Settings of every output by its number, the output that commands go to, and the watchdog over all outputs."""

    chosen: int
    outputs: Mapping[int, OutputSettings]
    watchdog: WatchdogSettings


class Output:
    """One output."""

    def __init__(
        self, description: SupplyOutputDescription, supply: SupplyDescription, true_errors: TrueErrors
    ) -> None:
        self.description = description
        self.settings = self.defaults()
        name = f"supply {description.name}"
        voltage, current = description.highest_voltage_v, description.highest_current_a
        self.voltage_setting = true_errors.error(f"{name} voltage setting", supply.voltage, voltage)
        self.current_setting = true_errors.error(f"{name} current setting", supply.current, current)
        self.voltage_reading = true_errors.error(f"{name} voltage", supply.voltage, voltage)
        self.current_reading = true_errors.error(f"{name} current", supply.current, current)

    @property
    def highest_overvoltage_v(self) -> float:
        """The highest over-voltage protection level that can be set."""
        return PROTECTION_HEADROOM * self.description.highest_voltage_v

    @property
    def highest_overcurrent_a(self) -> float:
        """The highest over-current protection level that can be set."""
        return PROTECTION_HEADROOM * self.description.highest_current_a

    @property
    def lowest_limit_a(self) -> float:
        """The current limit after *RST."""
        return self.description.highest_current_a / 100

    def defaults(self) -> OutputSettings:
        """0 V, a hundredth of the current, protection at its highest."""
        return OutputSettings(0.0, self.lowest_limit_a, self.highest_overvoltage_v, self.highest_overcurrent_a)

    def highest(self, name: str) -> float:
        """The most that a setting of this name takes."""
        return {
            "voltage_v": self.description.highest_voltage_v,
            "limit_a": self.description.highest_current_a,
            "overvoltage_v": self.highest_overvoltage_v,
            "overcurrent_a": self.highest_overcurrent_a,
            "overcurrent_delay_s": 10.0,
        }[name]

    def apply(self, output: SupplyOutput, now_s: float) -> None:
        """Set the true output from the settings."""
        asked = self.settings
        output.voltage_v = max(self.voltage_setting.indicated(asked.voltage_v), 0.0) if asked.voltage_v else 0.0
        output.limit_a = max(self.current_setting.indicated(asked.limit_a), 0.0)
        output.overvoltage_v = asked.overvoltage_v if asked.overvoltage_enabled else float("inf")
        output.overcurrent_a = asked.overcurrent_a if asked.overcurrent_enabled else float("inf")
        output.overcurrent_delay_s = asked.overcurrent_delay_s
        output.remote_sense = asked.remote_sense
        output.changed_s = now_s
