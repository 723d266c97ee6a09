"""The outputs of the supply as they truly are: voltage, current limit, over-voltage and over-current trips."""

from __future__ import annotations

import math
from dataclasses import dataclass

from benchctl.simulator.converter import OFF, Source

OVERCURRENT_DELAY_S = 0.01
"""A current must stay above the protection level for so long before it trips, so that no single peak does."""


@dataclass
class SupplyOutput:
    """One output. Voltages and currents here are true ones; the instrument adds its errors when set and read."""

    lead_ohm: float
    on: bool = False
    stuck: bool = False
    """a fault: once on, it stays on unless a protection trips"""
    drift_v: float = 0.0
    """a fault: what it gives more than it is set to"""
    voltage_v: float = 0.0
    limit_a: float = 0.0
    overvoltage_v: float = math.inf
    overcurrent_a: float = math.inf
    overvoltage_tripped: bool = False
    overcurrent_tripped: bool = False
    changed_s: float = 0.0
    """when it was last set or switched; no read-back averages over an earlier time"""
    _above_since_s: float | None = None

    @property
    def tripped(self) -> bool:
        """Whether either protection holds the output off."""
        return self.overvoltage_tripped or self.overcurrent_tripped

    @property
    def live(self) -> bool:
        """Whether the output gives anything."""
        return self.on and not self.tripped

    @property
    def timing(self) -> bool:
        """Whether an over-current is being timed."""
        return self._above_since_s is not None

    def switch(self, on: bool) -> None:
        """Switch it on, or off if that can be done."""
        self.on = on or (self.on and self.stuck)

    def source(self) -> Source:
        """What the load sees."""
        return Source(max(self.voltage_v + self.drift_v, 0.0), self.limit_a, self.lead_ohm) if self.live else OFF

    def clear(self) -> None:
        """Forget the trips. An output that tripped stays off until it is switched on again."""
        self.overvoltage_tripped = self.overcurrent_tripped = False
        self._above_since_s = None

    def watch(self, now_s: float, voltage_v: float, current_a: float) -> bool:
        """Look at the terminals; trip and return True if a protection level is passed."""
        if not self.live:
            return False
        self.overvoltage_tripped = voltage_v > self.overvoltage_v
        self.overcurrent_tripped = self._too_long(now_s, current_a > self.overcurrent_a)
        if self.tripped:
            self.on, self.changed_s = False, now_s
        return self.tripped

    def _too_long(self, now_s: float, above: bool) -> bool:
        if not above:
            self._above_since_s = None
            return False
        if self._above_since_s is None:
            self._above_since_s = now_s
        return now_s - self._above_since_s >= OVERCURRENT_DELAY_S
