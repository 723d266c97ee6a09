"""Bursts by number of cycles, begun by a timer or by a trigger from the bus. Nothing sounds between them."""

from __future__ import annotations

from collections.abc import Sequence

from benchctl.scpi.device.parameters import Boolean, Mnemonic, Numeric
from benchctl.simulator.instruments.generators.words.adding import Adder

MOST_CYCLES = 1e6
LONGEST_PERIOD_S = 8000.0
SHORTEST_PERIOD_S = 1e-6


def add_bursts(to: Adder, sources: Sequence[str]) -> None:
    """BURSt and TRIGger:SOURce; a source TIMer has the period of BURSt:INTernal:PERiod."""
    burst = f"{to.source}:BURSt"
    to.setting(f"{burst}[:STATe]", "burst_on", Boolean())
    to.setting(f"{burst}:MODE", "burst_mode", Mnemonic("TRIGgered"))
    to.setting(f"{burst}:NCYCles", "cycles", Numeric("", 1, MOST_CYCLES, 1, whole=True))
    to.setting(f"{burst}:PHASe", "start_phase_deg", Numeric("", -360.0, 360.0, 0.0))
    if "TIMer" in sources:
        period = Numeric("S", SHORTEST_PERIOD_S, LONGEST_PERIOD_S, 0.01)
        to.setting(f"{burst}:INTernal:PERiod", "every_s", period)
    to.setting(f"{to.node('TRIGger')}:SOURce", "trigger_source", Mnemonic(*sources))
