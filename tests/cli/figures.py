"""Figures as a run of two burst lengths into one load gives them; the numbers are made up."""

from __future__ import annotations

from benchctl.archive.journal.entries import FiguresEntry
from benchctl.measure.budget.figure import Figure, Verdict
from benchctl.measure.conditions import Conditions

IDLE = Conditions(drive="undriven", supply_set_v=14.4)
FOUR_OHM = Conditions(4.0, 1000.0, 0.8, "clean", 14.4, ("A", "B"))


def power(name: str, value_w: float, channel: str, cycles: int | None = None, verdict: Verdict = "") -> Figure:
    return Figure(name, value_w, "W", value_w / 50, 2.0, channel=channel, burst_cycles=cycles, verdict=verdict)


def entry(analysis: str, conditions: Conditions, *figures: Figure) -> FiguresEntry:
    return FiguresEntry(f"1 {analysis}", analysis, {}, {}, {}, conditions, figures)


ENTRIES = [
    entry(
        "idle",
        IDLE,
        Figure("idle_current", 1.7, "A", 0.075, 2.0, verdict="passes"),
        Figure("dc_offset", -0.009, "V", 0.0004, 2.0, channel="A", verdict="fails"),
    ),
    entry(
        "burst",
        FOUR_OHM,
        power("burst_power_clean", 190.0, "A", 1),
        power("burst_power_clean", 380.0, "total", 1),
        power("burst_power_first", 191.0, "A", 1),
        power("burst_power_last", 191.0, "A", 1),
    ),
    entry(
        "burst",
        FOUR_OHM,
        power("burst_power_clean", 170.0, "A", 8),
        power("burst_power_first", 189.0, "A", 8),
        power("burst_power_last", 180.0, "A", 8),
        Figure("droop", 0.048, "1", 0.002, 2.0, channel="A", burst_cycles=8),
        Figure("supply_current", 6.1, "A", 0.2, 2.0, burst_cycles=8),
    ),
    entry(
        "continuous",
        FOUR_OHM,
        power("continuous_power", 160.0, "A", verdict="passes"),
        Figure("efficiency", 0.6, "1", 0.011, 2.0),
        Figure("thd_n", 0.0005, "1", bound="at most", channel="A"),
    ),
]
