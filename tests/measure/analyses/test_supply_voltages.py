"""The supply's voltage in two places: what is claimed of each, by what there is to measure it."""

from __future__ import annotations

import pytest

from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.analyses.supply_voltages import with_read_voltages
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.meters import Meters
from benchctl.measure.uncertainty import Accuracy

METERS = {
    "supply_voltage": (Accuracy(fixed=0.02, resolution=1e-6),),
    "supply_current": (Accuracy(fixed=0.5, resolution=1e-6),),
    "terminal_voltage": (Accuracy(fixed=0.005),),
}
READ = {"supply_voltage": [14.4, 14.4], "supply_current": [64.0, 64.0]}
PROBE = Figure("supply_voltage", 14.1, "V", expanded_uncertainty=0.13, coverage_factor=2.0, capture="captures/1.npz")


def named(context: IdleContext, readings: dict[str, list[float]], *captured: Figure) -> dict[str, Figure]:
    figures = with_read_voltages(captured, Meters(readings, METERS), context)
    return {figure.name: figure for figure in figures}


def test_the_supplys_own_reading_says_nothing_of_the_terminals() -> None:
    found = named(IdleContext(), READ)
    assert found["supply_output_voltage"].value == 14.4
    assert "supply_voltage" not in found


def test_leads_leave_at_least_what_ohms_law_says() -> None:
    """14.4 V - 64 A x 6 mohm = 14.016 V, less U: 2 / sqrt 3 of 20 mV and of 0.5 A x 6 mohm (JCGM 100, 4.3.7)."""
    least = named(IdleContext(leads_ohm=0.006), READ)["supply_voltage"]
    u_v = 2.0 * (0.02**2 + 0.003**2) ** 0.5 / 3.0**0.5
    assert (least.bound, least.expanded_uncertainty) == ("at least", None)
    assert least.value == pytest.approx(14.4 - 64.0 * 0.006 - u_v, abs=1e-9)
    assert "6 mohm" in least.bound_reason


def test_nothing_is_known_of_the_terminals_by_leads_without_a_current() -> None:
    assert "supply_voltage" not in named(IdleContext(leads_ohm=0.006), {"supply_voltage": [14.4]})


def test_sense_leads_make_the_supplys_reading_that_of_the_terminals() -> None:
    found = named(IdleContext(senses_terminals=True), READ)
    assert found["supply_voltage"].value == 14.4
    assert "supply_output_voltage" not in found


def test_of_two_instruments_at_the_terminals_the_surer_one_is_the_figure() -> None:
    found = named(IdleContext(), {**READ, "terminal_voltage": [14.05, 14.05]}, PROBE)
    assert found["supply_voltage"].value == 14.05
    assert found["supply_output_voltage"].value == 14.4


def test_a_probe_at_the_terminals_stays_where_nothing_surer_is_there() -> None:
    assert named(IdleContext(), READ, PROBE)["supply_voltage"] == PROBE
