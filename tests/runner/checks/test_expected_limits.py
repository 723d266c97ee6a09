"""Preflight warns where the course that it expects passes a limit: when, in which step, and by how much."""

from __future__ import annotations

import pytest

from tests.runner.checks.test_preflight import SET_4_OHM, checked
from tests.runner.rig import POWER_ON_LINE, Edits

BENCH_LIMIT = "supply_current: {above: 110 A, for: 500 ms}"
TONE = "measure_continuous: {for: 5 s, level: 400 mV}"
# The HX 2150 without a thermal resistance of its own, whose heatsink must not pass 75 degC.
SMALL_HEATSINK: Edits = {"maximum: 85 degC, resistance: 0.55 K/W": "maximum: 75 degC, resistance: 1.2 K/W"}


def warnings(
    *steps: str, limits: dict[str, str] | None = None, bench: Edits | None = None, amplifier: Edits | None = None
) -> tuple[str, ...]:
    found = checked(POWER_ON_LINE, SET_4_OHM, *steps, "power_off", limits=limits, bench=bench, amplifier=amplifier)
    assert found.hazards == ()
    return found.warnings


def test_a_current_beyond_a_limit_of_the_bench_is_told_with_when_and_by_how_much() -> None:
    (told,) = warnings(TONE, bench={BENCH_LIMIT: "supply_current: {above: 2 A}"})
    assert told.startswith("supply_current is expected to pass its limit, above 2 A (of the bench file), ")
    assert " s after the start, in 3 measure_continuous, and to be " in told
    value, beyond = told.partition("and to be ")[2].split(" beyond")[0].split(", ")
    assert float(value.removesuffix(" A")) - 2.0 == pytest.approx(float(beyond.removesuffix(" A")), abs=0.6)


def test_a_heatsink_beyond_the_amplifiers_maximum_is_told() -> None:
    """1.2 K/W with an hour of a third of full power and more: far beyond 75 degC."""
    (told,) = warnings("soak: {for: 1 h, level: 500 mV}", amplifier=SMALL_HEATSINK)
    assert told.startswith("heatsink is expected to pass its limit, above 75 degC (of the amplifier file), ")
    assert ":" in told.partition(" min after the start, in 3 soak, and to be ")[0]
    assert " K beyond it; " in told


def test_a_soak_that_ends_by_itself_before_passes_nothing() -> None:
    assert warnings("soak: {for: 1 h, level: 500 mV, heatsink: below 70 degC}", amplifier=SMALL_HEATSINK) == ()


def test_a_limit_with_a_duration_is_passed_by_what_lasts_that_long() -> None:
    """5 s of the tone, a look before it and the record after it."""
    short, long = ({"supply_current": f"{{above: 10 A, for: {seconds} s}}"} for seconds in (3, 8))
    assert warnings(TONE, limits=short)
    assert warnings(TONE, limits=long) == ()


def test_drives_that_follow_each_other_without_a_pause_count_as_one() -> None:
    limits = {"supply_current": "{above: 10 A, for: 8 s}"}
    assert warnings("set: {level: 400 mV}", "hold: {for: 5 s}", limits=limits) == ()
    assert warnings("set: {level: 400 mV}", "hold: {for: 5 s}", "hold: {for: 5 s}", limits=limits)


def test_short_bursts_are_read_by_the_supply_as_their_mean() -> None:
    """8 ms of about 37 A in every 500, and a tenth of that between them."""
    limits = {"supply_current": "{above: 8 A}"}
    assert warnings("measure_burst: {cycles: [8]}", limits=limits) == ()
    assert warnings("measure_burst: {cycles: [400]}", limits=limits)


def test_a_supply_voltage_outside_its_limits_is_told() -> None:
    (told,) = warnings("set: {supply: 12 V}", "hold: {for: 5 s}", limits={"supply_voltage": "{below: 13 V, for: 1 s}"})
    assert told.startswith("supply_voltage is expected to pass its limit, below 13 V for 1 s (of the sequence file), ")
    assert "in 3 set, and to be 12 V, 1 V beyond it" in told


def test_a_heatsink_that_warms_too_fast_is_told() -> None:
    """About 100 W of heat into 0.55 K/W and 8 min: 100 x 0.55 / 480 s, 7 K/min."""
    (told,) = warnings("measure_continuous: {for: 1 min, level: 500 mV}", limits={"heatsink": "{rising: 4 K/min}"})
    assert " K/min too fast" in told


def test_an_idle_current_below_a_lower_limit_is_told() -> None:
    (told,) = warnings("hold: {for: 10 s}", limits={"supply_current": "{below: 2 A}"})
    assert "and to be 1.6 A, 400 mA beyond it" in told


def test_of_several_limits_on_one_signal_the_first_to_trip_is_told() -> None:
    limits = {"supply_current": "{above: 10 A, for: 1 s}"}
    (told,) = warnings(TONE, limits=limits, bench={BENCH_LIMIT: "supply_current: {above: 2 A}"})
    assert "above 2 A (of the bench file)" in told


def test_a_run_that_keeps_all_limits_has_no_such_warning() -> None:
    assert warnings(TONE) == ()
