"""An electronic load that must be told its range before its resistance: `MODE CRL`, `MODE CRM`, `MODE CRH`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.device.parameters import Boolean, Mnemonic, Numeric
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Instrument, Now
from benchctl.simulator.instruments.loads.resistance import TrueResistance
from benchctl.simulator.model.description import LoadDescription

HIGHEST_OHM: Mapping[str, float] = {"CRL": 4.0, "CRM": 40.0, "CRH": 4000.0}
"""What each range reaches; common for a load of some hundred watts (common practice)."""


class LoadSettings(NamedTuple):
    """What *RST sets."""

    mode: str
    resistance_ohm: float


class ThreeRangeLoad(Instrument[LoadSettings]):
    """Constant resistance in three ranges. A resistance that the range does not reach is refused; another range
    switches the input off, as range relays must not switch under load. It takes ac of either polarity."""

    model = "Electronic load with ranges"

    def __init__(self, physical_bench: PhysicalBench, now: Now, description: LoadDescription) -> None:
        self._lowest_ohm = description.lowest_ohm
        self._true = TrueResistance(physical_bench, description)
        super().__init__(physical_bench, now)

    def defaults(self) -> LoadSettings:
        """The highest resistance of the highest range."""
        return LoadSettings("CRH", HIGHEST_OHM["CRH"])

    def snapshot(self) -> LoadSettings:
        """Range and resistance."""
        return LoadSettings(self._mode, self._resistance_ohm)

    def restore(self, settings: LoadSettings) -> None:
        """A range and a resistance, and the input off."""
        self._mode, self._resistance_ohm = settings
        self._on = False
        self._apply()

    def add_commands(self, tree: CommandTree) -> None:
        """MODE, RESistance:STATic:L1, LOAD."""
        tree.add("MODE", set=self._set_mode, query=lambda _: self._mode, parameters=[Mnemonic(*HIGHEST_OHM)])
        resistance = Numeric("OHM", self._lowest_ohm, lambda: HIGHEST_OHM[self._mode])
        tree.add("RESistance:STATic:L1", set=self._set_resistance, query=lambda _: self._resistance_ohm,
                 parameters=[resistance])  # fmt: skip
        tree.add("LOAD[:STATe]", set=self._switch, query=lambda _: self._on, parameters=[Boolean()])

    def _set_mode(self, call: Call) -> None:
        (mode,) = call.values
        if mode != self._mode:
            self._mode, self._on = mode, False
            self._resistance_ohm = min(self._resistance_ohm, HIGHEST_OHM[mode])
        self._apply()

    def _set_resistance(self, call: Call) -> None:
        (self._resistance_ohm,) = call.values
        self._apply()

    def _switch(self, call: Call) -> None:
        (self._on,) = call.values
        self._apply()

    def _apply(self) -> None:
        self._true.set_to(self._resistance_ohm, connected=self._on)
