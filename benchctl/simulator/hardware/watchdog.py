"""The supply's watchdog: it switches the outputs off when nobody has fed it for the time set.

As on real supplies: once it has tripped, every output stays off until the protection is cleared.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from benchctl.simulator.hardware.supply_outputs import SupplyOutput

SHORTEST_S, LONGEST_S, DEFAULT_S = 1.0, 3600.0, 60.0


@dataclass(frozen=True)
class WatchdogSettings:
    """Whether it watches, and how long it waits."""

    enabled: bool = False
    delay_s: float = DEFAULT_S


@dataclass
class Watchdog:
    """Watches over all outputs of the supply at once."""

    settings: WatchdogSettings = WatchdogSettings()
    tripped: bool = False
    _fed_s: float = 0.0

    @property
    def due_s(self) -> float:
        """When it trips; infinity if it does not watch, or has tripped."""
        waits = self.settings.enabled and not self.tripped
        return self._fed_s + self.settings.delay_s if waits else math.inf

    def set(self, settings: WatchdogSettings, now_s: float) -> None:
        """Take these settings; it waits again from now on."""
        self.settings = settings
        self.feed(now_s)

    def feed(self, now_s: float) -> None:
        """Start the wait again. A watchdog that has tripped stays tripped."""
        self._fed_s = now_s

    def clear(self, now_s: float) -> None:
        """Clear the trip, and wait again."""
        self.tripped = False
        self.feed(now_s)

    def look(self, now_s: float, outputs: Iterable[SupplyOutput]) -> None:
        """Trip if it is time."""
        if now_s < self.due_s:
            return
        self.tripped = True
        for output in outputs:
            output.watchdog_tripped, output.changed_s = True, now_s
            output.switch(False)
