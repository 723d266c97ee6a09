"""What a supply lacks is said before the run, kept for the page, and refused where nobody is present."""

from __future__ import annotations

import pytest

from benchctl.runner.checks.blind_spots import blind_spots
from benchctl.runner.checks.preflight import Preflight, preflight
from benchctl.runner.plan import expand
from benchmarks.forms.supplies import FORMS
from tests.runner.rig import POWER_ON_LINE, Edits, files

FORM = {form.speaks: form for form in FORMS}
UPPER_LIMIT = "supply_current: {above: 110 A, for: 500 ms}\n  supply_voltage: {above: 16 V}"


def bench_with(speaks: str, *, limited: bool = False) -> Edits:
    limit = {"supply_current: {above: 110 A, for: 500 ms}": UPPER_LIMIT} if limited else {}
    return {**FORM[speaks].edits(), **limit}


def checked(bench: Edits, *, unattended: bool = False, power_on: str = POWER_ON_LINE) -> Preflight:
    these = files(power_on, "power_off", bench=bench)
    return preflight(these, expand(these.sequence, these.amplifier, these.bench), unattended=unattended)


def recorded(speaks: str) -> str:
    return " / ".join(blind_spots(files("power_off", bench=bench_with(speaks))))


@pytest.mark.parametrize(
    ("speaks", "words"),
    [
        ("limit_only", "no over-current protection of the supply: its current limit stands in"),
        ("old_words", "no over-current protection of the supply: its current limit stands in"),
        ("limit_only", "no over-voltage protection of the supply can be set"),
        ("protection_unread", "the over-voltage protection of the supply is set and cannot be read back"),
        ("trip_unseen", "does not tell why an output goes off by itself; that counts as a protection that has tripped"),
    ],
)
def test_what_a_supply_lacks_is_kept_for_the_page(speaks: str, words: str) -> None:
    assert words in recorded(speaks)


@pytest.mark.parametrize("speaks", ["channel_list", "apply", "everything_at_once", "protection_in_steps"])
def test_a_supply_that_lacks_nothing_has_nothing_said_of_it(speaks: str) -> None:
    assert "supply" not in recorded(speaks)


def test_without_over_voltage_protection_or_a_limit_on_it_a_person_is_asked() -> None:
    (warning,) = checked(bench_with("limit_only")).warnings
    assert "nothing limits supply_voltage" in warning
    assert checked(bench_with("limit_only", limited=True)).warnings == ()


def test_where_nobody_is_present_something_must_limit_the_voltage() -> None:
    (hazard,) = checked(bench_with("limit_only"), unattended=True).hazards
    assert "no over-voltage protection of the supply can be set" in hazard
    assert "16 V" in hazard, "what the amplifier bears"
    assert checked(bench_with("limit_only", limited=True), unattended=True).hazards == ()


def test_protection_in_steps_must_still_lie_above_the_voltage() -> None:
    """14.9 V in steps of half a volt is 14.5 V."""
    bench = bench_with("protection_in_steps")
    tight = "power_on: {voltage: 14.6 V, current_limit: 90 A, overvoltage: 14.9 V}"
    (hazard,) = checked(bench, power_on=tight).hazards
    assert "is set in steps, here to 14.5 V instead of 14.9 V, and would trip at 14.6 V" in hazard
    assert checked(bench, power_on=tight.replace("14.9", "15")).hazards == ()


def test_a_supply_with_sense_leads_is_said_to_read_its_voltage_at_the_amplifier() -> None:
    wired = {"number: 1, voltage: 20 V, current: 120 A": "number: 1, voltage: 20 V, current: 120 A, remote_sense: yes"}
    told = " ".join(blind_spots(files("power_off", bench={**bench_with("remote_sense"), **wired})))
    assert "the supply holds and reads its voltage at the amplifier's terminals" in told
