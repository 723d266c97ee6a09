"""The supply's voltage at the amplifier's terminals: as asked for there, or the run ends before anything is trimmed."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from benchctl.errors import InstrumentsDisagree
from benchmarks.forms.supplies import FORMS
from tests.runner.measured import Measured, hazards_of, measured
from tests.runner.rig import POWER_ON_LINE, Edits

AT_TERMINALS = "power_on: {voltage: 14.4 V, current_limit: 90 A, at: terminals}"
_PROBE = "{kind: single-ended, ratio: 10, rating: 300 V, accuracy: 0.5 %}"
NO_PROBE: Edits = {f"  supply_voltage: {{oscilloscope: 4, probe: {_PROBE}}}\n": ""}
FINE: Edits = {
    "voltage: {reading: 0.5 %, range: 0.1 %}": "voltage: {reading: 0.02 %}",
    _PROBE: _PROBE.replace("0.5 %", "0.02 %"),
}
COARSE: Edits = {_PROBE: _PROBE.replace("0.5 %", "3 %")}
SENSING: Edits = {
    **next(form for form in FORMS if form.speaks == "remote_sense").edits(),
    "number: 1, voltage: 20 V, current: 120 A": "number: 1, voltage: 20 V, current: 120 A, remote_sense: yes",
}
IDLE = "measure_idle: {for: 2 s}"


def leads(ohm: str, **errors: str) -> Edits:
    """Leads of the simulated bench, and true errors of its instruments."""
    given = "".join(f"\n    {name.replace('_', ' ')}: {error}" for name, error in errors.items())
    return {"seed: 2150": f"seed: 2150\n  supply_lead: {ohm}" + (f"\n  errors:{given}" if given else "")}


def trims(run: Measured) -> list[float]:
    """What the main output was set to, one setting after the other."""
    said = [re.search(r"VOLT ([0-9.]+)", text) for role, text in run.sent if role == "supply" and "NSEL 1" in text]
    return [float(found[1]) for found in said if found]


@pytest.fixture(scope="module")
def trimmed(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    """On leads of 50 mohm."""
    folder = tmp_path_factory.mktemp("trimmed")
    return measured(folder, IDLE, bench={**FINE, **leads("50 mohm")}, power_on=AT_TERMINALS)


def test_what_the_leads_take_is_added_at_the_supply(trimmed: Measured) -> None:
    """Ohm's law: 50 mohm and some 1.7 A of idle current take 85 mV, which 0.02 % of 14.4 V can show."""
    at_terminals, at_supply = trimmed.figure("supply_voltage"), trimmed.figure("supply_output_voltage")
    assert at_terminals.value == pytest.approx(14.4, abs=0.006)
    lost_v = 0.050 * trimmed.figure("idle_current").value
    assert at_supply.value - at_terminals.value == pytest.approx(lost_v, abs=0.02)
    assert trims(trimmed)[-1] == pytest.approx(14.4 + lost_v, abs=0.03)
    assert any("the supply is set to 14.4" in note and "for 14.4 V there" in note for note in trimmed.notes)


def test_the_conditions_say_where_the_voltage_holds(trimmed: Measured) -> None:
    row = trimmed.table[trimmed.table["figure"] == "idle_current"].iloc[0]
    assert (row["supply_set_v"], row["supply_at"]) == (14.4, "terminals")


def test_what_cannot_be_told_from_the_voltage_asked_for_is_left_alone(tmp_path: Path) -> None:
    """A probe of 3 % knows 14.4 V to half a volt; the leads take 3 mV."""
    run = measured(tmp_path, IDLE, bench=COARSE, power_on=AT_TERMINALS)
    assert trims(run) == [14.4]
    assert any("does not differ from 14.4 V" in note for note in run.notes)


@pytest.mark.parametrize("error", ["-7 %", "5 %"])
def test_a_probe_that_lies_ends_the_run_before_anything_is_trimmed(tmp_path: Path, error: str) -> None:
    """Leads add nothing, and take no volt of an idle amplifier's current."""
    bench = {**FINE, **leads("2 mohm", probe_supply_voltage=error)}
    run = measured(tmp_path, IDLE, bench=bench, power_on=AT_TERMINALS)
    assert isinstance(run.outcome.error, InstrumentsDisagree)
    assert trims(run) == [14.4]
    assert run.outcome.is_safe


def test_a_probe_that_is_off_ends_the_run_before_anything_is_trimmed(tmp_path: Path) -> None:
    run = measured(tmp_path, bench={**FINE, **leads("2 mohm", probe_supply_voltage="-100 %")}, power_on=AT_TERMINALS)
    assert isinstance(run.outcome.error, InstrumentsDisagree)
    assert trims(run) == [14.4]


def test_the_supply_is_never_set_higher_than_the_amplifier_bears(tmp_path: Path) -> None:
    """It bears 16 V, and the leads take a tenth of a volt."""
    high = AT_TERMINALS.replace("14.4 V", "15.95 V")
    run = measured(tmp_path, IDLE, bench={**FINE, **leads("60 mohm")}, power_on=high)
    assert "allow no more than 16 V" in str(run.outcome.error)
    assert trims(run) == [15.95]


def test_the_supply_stays_below_its_own_protection(tmp_path: Path) -> None:
    """By a hundredth: 14.6 V are protected at, and the leads take a tenth of a volt."""
    near = AT_TERMINALS.replace("at: terminals", "at: terminals, overvoltage: 14.6 V")
    run = measured(tmp_path, IDLE, bench={**FINE, **leads("60 mohm")}, power_on=near)
    assert "allow no more than 14.46 V" in str(run.outcome.error)


def test_the_supply_is_not_trimmed_further_than_the_sequence_allows(tmp_path: Path) -> None:
    little = AT_TERMINALS.replace("at: terminals", "at: terminals, trim: 20 mV")
    run = measured(tmp_path, IDLE, bench={**FINE, **leads("50 mohm")}, power_on=little)
    assert run.outcome.exit_code == 5
    assert trims(run) == [14.4]


def test_each_later_voltage_holds_at_the_terminals_too(tmp_path: Path) -> None:
    run = measured(tmp_path, "set: {supply: 12 V}", IDLE, bench={**FINE, **leads("50 mohm")}, power_on=AT_TERMINALS)
    assert run.figure("supply_voltage").value == pytest.approx(12.0, abs=0.006)


def test_a_sensing_supply_holds_the_terminals_by_itself(tmp_path: Path) -> None:
    run = measured(tmp_path, IDLE, bench={**NO_PROBE, **SENSING, **leads("50 mohm")}, power_on=AT_TERMINALS)
    assert run.figure("supply_voltage").value == pytest.approx(14.4, abs=0.02)
    assert not run.figures("supply_output_voltage")
    assert any("by its sense leads" in note and "is left at that" in note for note in run.notes)


def test_preflight_refuses_terminals_that_nothing_measures() -> None:
    said = hazards_of(bench=NO_PROBE)
    assert not any("terminals" in hazard for hazard in said)
    said = hazards_of("power_off", AT_TERMINALS, bench=NO_PROBE)
    assert any("nothing on the bench measures there" in hazard for hazard in said)


def test_nothing_is_claimed_of_terminals_that_nothing_measures(tmp_path: Path) -> None:
    run = measured(tmp_path, IDLE, "measure_continuous: {for: 1 s, level: 300 mV}", bench=NO_PROBE)
    assert not run.figures("supply_voltage")
    assert not run.figures("static_sag")
    assert len(run.figures("supply_output_voltage")) == 2
    assert run.verification.agrees


def test_known_leads_bound_the_voltage_at_the_terminals(tmp_path: Path) -> None:
    """By Ohm's law, 6 mohm at most and the current of a quarter of full power."""
    stated = {"number: 1, voltage: 20 V, current: 120 A": "number: 1, voltage: 20 V, current: 120 A, leads: 6 mohm"}
    run = measured(tmp_path, "measure_continuous: {for: 1 s, level: 400 mV}", bench={**NO_PROBE, **stated})
    least, read = run.figure("supply_voltage"), run.figure("supply_output_voltage")
    lost_v = 0.006 * run.figure("supply_current").value
    assert least.bound == "at least"
    assert least.value == pytest.approx(read.value - lost_v - (read.expanded_uncertainty or 0.0), abs=0.005)


def test_static_sag_is_what_the_leads_lose_to_the_drive(tmp_path: Path) -> None:
    """Ohm's law: the simulated supply holds its output, and its leads have 4 mohm."""
    run = measured(tmp_path, IDLE, "measure_continuous: {for: 1 s, level: 600 mV}", bench=leads("4 mohm"))
    sag = run.figure("static_sag")
    more_a = run.figure("supply_current").value - run.figure("idle_current").value
    assert abs(sag.value - 0.004 * more_a) <= (sag.expanded_uncertainty or 0.0)
    assert (sag.expanded_uncertainty or 0.0) < 0.005
    assert run.verification.agrees


def test_static_sag_of_eight_bits_has_the_steps_in_its_uncertainty(tmp_path: Path) -> None:
    """32 V in 256 steps: what half of a step hides of either mean is no less than the sag."""
    bits = {"bits: 12": "bits: 8", "memory: 1000000": "memory: 100000"}
    run = measured(tmp_path, IDLE, "measure_continuous: {for: 1 s, level: 600 mV}", bench={**bits, **leads("4 mohm")})
    sag = run.figure("static_sag")
    more_a = run.figure("supply_current").value - run.figure("idle_current").value
    assert abs(sag.value - 0.004 * more_a) <= (sag.expanded_uncertainty or 0.0)


def test_an_ordinary_power_on_sets_the_supply_and_looks_no_further(tmp_path: Path) -> None:
    run = measured(tmp_path, IDLE, bench=leads("50 mohm"), power_on=POWER_ON_LINE)
    assert trims(run) == [14.4]
