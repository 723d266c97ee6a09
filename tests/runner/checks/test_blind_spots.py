"""What nothing watches: refused where it is not said, warned of where it is, and what stays refused all the same."""

from __future__ import annotations

import pytest

from benchctl.runner.checks.blind_spots import blind_spots
from benchctl.runner.checks.preflight import Preflight, preflight
from benchctl.runner.plan import expand
from tests.runner.ordinary import (
    LOADS_BY_HAND,
    NO_THERMOMETER,
    ONE_PROBE,
    ONLY_A,
    SILENT_ON_HEATSINK,
    connected,
)
from tests.runner.rig import POWER_ON_LINE, Edits, files

LOADED = "set: {load: 4 ohm, frequency: 1 kHz}"
NO_LEAD = {"remote_turn_on: {voltage: 12 V, delay: 2 s}\n": ""}


def checked(*steps: str, bench: Edits, amplifier: Edits | None = None, unattended: bool = False) -> Preflight:
    these = files(POWER_ON_LINE, *steps, "power_off", bench=bench, amplifier=amplifier)
    return preflight(these, expand(these.sequence, these.amplifier, these.bench), unattended=unattended)


def test_no_thermometer_and_nothing_said_is_refused() -> None:
    (hazard,) = checked(bench=SILENT_ON_HEATSINK).hazards
    assert "'unwatched: [heatsink]'" in hazard


def test_a_heatsink_that_is_said_to_be_unwatched_is_warned_of() -> None:
    found = checked("cool: {heatsink: below 45 degC}", bench=NO_THERMOMETER)
    assert found.hazards == ()
    told = " ".join(found.warnings)
    assert "neither its maximum of 85 degC nor any other limit on it stops the run" in told
    assert "cool 24 min" in told  # three time constants of 8 min
    assert "is expected to reach" in told


def test_without_any_limit_on_the_current_an_unwatched_heatsink_is_refused() -> None:
    no_limit = {
        **NO_THERMOMETER,
        "  supply_current: {above: 110 A, for: 500 ms}\n": "  supply_voltage: {above: 18 V}\n",
    }
    (hazard,) = checked(bench=no_limit).hazards
    assert "neither sequence nor bench limits supply_current" in hazard


def test_limits_on_an_unwatched_heatsink_are_no_limits() -> None:
    these = files("power_off", limits={"heatsink": "{above: 50 degC}"}, bench=NO_THERMOMETER)
    found = preflight(these, expand(these.sequence, these.amplifier, these.bench), unattended=False)
    assert found.hazards == ()


@pytest.mark.parametrize(
    ("step", "foreseen_s"),
    [
        ("cool: {heatsink: below 45 degC}", 1440.0),
        ("cool: {heatsink: below 45 degC, without_thermometer: 5 min}", 300.0),
        ("settle: {heatsink: within 1 K, timeout: 10 min}", 600.0),
        ("settle: {heatsink: within 1 K, timeout: 60 min}", 1440.0),
    ],
)
def test_a_wait_for_the_heatsink_takes_a_stated_time(step: str, foreseen_s: float) -> None:
    """Three time constants of the plate's 8 min; a wait that may be driven, no longer than its timeout."""
    found = checked(step, bench=NO_THERMOMETER)
    assert found.worst_cases[1].duration_s == foreseen_s


def test_a_soak_that_would_end_by_temperature_ends_after_a_time_constant() -> None:
    found = checked(LOADED, "soak: {for: 1 h, level: 10 % rated, heatsink: below 80 degC}", bench=NO_THERMOMETER)
    assert found.worst_cases[2].for_s == 480.0


def test_a_soak_ends_no_later_than_the_heatsink_is_expected_to_get_where_it_should_end() -> None:
    """A third of 300 W leaves well over 100 W in 0.55 K/W, which ends far above 85 degC; by the heating curve
    T(t) = T0 + (Tend - T0) (1 - exp(-t / tau)) it is at 60 degC within a time constant."""
    found = checked(LOADED, "soak: {for: 1 h, level: 33 % rated, heatsink: below 60 degC}", bench=NO_THERMOMETER)
    ends_c = found.expected_steps[2].heatsink_c
    assert found.worst_cases[2].for_s < 480.0
    assert ends_c == pytest.approx(60.0, abs=0.5)


def test_a_soak_keeps_the_time_that_a_person_has_stated() -> None:
    step = "soak: {for: 1 h, level: 33 % rated, heatsink: below 60 degC, without_thermometer: 9 min}"
    assert checked(LOADED, step, bench=NO_THERMOMETER).worst_cases[2].for_s == 540.0


def test_a_soak_of_a_time_keeps_it() -> None:
    found = checked(LOADED, "soak: {for: 1 h, level: 10 % rated}", bench=NO_THERMOMETER)
    assert found.worst_cases[2].for_s == 3600.0


def test_an_output_that_is_said_to_be_unseen_is_warned_of() -> None:
    found = checked("measure_idle: {for: 1 s}", bench=ONLY_A)
    assert found.hazards == ()
    assert any("no probe sees output B" in text for text in found.warnings)


def test_a_probe_that_is_moved_is_noted_and_refused_unattended() -> None:
    found = checked("measure_idle: {for: 1 s}", bench=ONE_PROBE)
    assert (found.hazards, found.warnings) == ((), ())
    assert any("outputs A and B are seen one at a time" in text for text in found.notes)
    alone = checked("measure_idle: {for: 1 s}", bench=ONE_PROBE, unattended=True)
    assert any("a hand moves the probe" in text for text in alone.hazards)


def test_crosstalk_wants_two_outputs_at_once() -> None:
    moved = {**ONE_PROBE, "inputs: {by: relay, relays: {A: 111, B: 112}}": "inputs: {by: hand}"}
    found = checked(LOADED, "measure_crosstalk: {from: 1 kHz, to: 2 kHz}", bench=moved)
    assert any("two outputs must be seen at once" in text for text in found.hazards)


def test_loads_by_hand_are_refused_unattended_but_for_those_that_are_connected() -> None:
    assert checked(LOADED, bench=LOADS_BY_HAND).hazards == ()
    assert any("connects the loads" in text for text in checked(LOADED, bench=LOADS_BY_HAND, unattended=True).hazards)
    assert checked(LOADED, bench=connected("4 ohm"), unattended=True).hazards == ()
    other = checked("set: {load: 2 ohm}", bench=connected("4 ohm"), unattended=True)
    assert any("another load is connected by hand" in text for text in other.hazards)


def test_an_amplifier_that_wakes_with_its_supply_needs_no_hand() -> None:
    by_hand = {"remote_turn_on: {by: supply, output: remote, voltage: 12 V}": "remote_turn_on: {by: hand}"}
    assert checked(bench=by_hand, amplifier=NO_LEAD, unattended=True).hazards == ()
    assert any("switched by hand" in text for text in checked(bench=by_hand, unattended=True).hazards)


def test_nothing_is_told_where_everything_is_watched() -> None:
    assert blind_spots(files("power_off")) == ()
