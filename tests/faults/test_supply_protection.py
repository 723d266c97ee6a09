"""The supply's own protection and its watchdog: a run that they end is ended at once, and they are named."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.errors import LimitTripped, OperatorStop
from tests.faults.holding import DRIVEN, IDLE, LONG_HOLD, journal_ends_safe
from tests.runner.rig import POWER_ON_LINE, Rig, files, rig, shipped


def trip_supply(bench: Rig) -> None:
    """Its over-voltage protection acts at once when it is set below what the output gives; then the setting is
    restored."""
    with bench.simulated.physical_bench.lock:
        for level_v in (13, 16):
            bench.simulated.instruments["supply"].device.begin(b"INST:NSEL 1;:SOUR:VOLT:PROT %d" % level_v)


def test_a_supply_that_protects_itself_ends_the_run_within_seconds(held: Rig) -> None:
    """Without a supply there is nothing to measure, so the run does not go on."""
    held.at(20.0, lambda: trip_supply(held))
    outcome = held.execute()
    assert isinstance(outcome.error, LimitTripped)
    assert outcome.error.limit == "supply_protection"
    assert outcome.exit_code == 4
    assert held.run.clock.now() < 30.0
    assert journal_ends_safe(held)


@pytest.mark.parametrize(
    "limits", [{"supply_voltage": "{below: 11 V}"}, {"supply_voltage": "{below: 11 V, for: 500 ms}"}]
)
def test_it_is_named_where_the_voltage_that_is_gone_would_end_the_run_too(
    tmp_path: Path, limits: dict[str, str]
) -> None:
    with rig(tmp_path, files(POWER_ON_LINE, IDLE, DRIVEN, LONG_HOLD, limits=limits)) as bench:
        bench.at(20.0, lambda: trip_supply(bench))
        outcome = bench.execute()
    assert isinstance(outcome.error, LimitTripped)
    assert outcome.error.limit == "supply_protection"
    assert str(outcome.error).startswith("the supply's own protection (over-voltage or over-current) has switched its")
    assert outcome.tripped_outputs == ("main",)


@pytest.mark.parametrize("answer", ["1;0", "0;4", "+8;0", "0;ON", "2.0E+00;0"])
def test_any_answer_but_nought_says_that_it_has_tripped(held: Rig, answer: str) -> None:
    question = "NSEL 1;:SOUR:VOLT:PROT:TRIP?;:SOUR:CURR:PROT:TRIP?"
    held.at(20.0, lambda: held.taps.forge("supply", question, answer))
    outcome = held.execute()
    assert isinstance(outcome.error, LimitTripped)
    assert outcome.error.limit == "supply_protection"


def test_outputs_that_fall_silent_with_it_are_not_put_down_to_the_amplifier(tmp_path: Path) -> None:
    with rig(tmp_path, files(POWER_ON_LINE, IDLE, DRIVEN, "measure_continuous: {for: 60 s}", LONG_HOLD)) as bench:
        bench.at(20.0, lambda: trip_supply(bench))
        outcome = bench.execute()
    assert isinstance(outcome.error, LimitTripped)
    assert outcome.error.limit == "supply_protection"
    assert outcome.unmeasured == ()


def test_it_is_named_beside_another_reason_too(held: Rig) -> None:
    """A person presses Ctrl-C within the two seconds in which the guard would have asked."""

    def trip_and_stop() -> None:
        trip_supply(held)
        held.run.interlock.open(OperatorStop("stopped by Ctrl-C"))

    held.at(20.0, trip_and_stop)
    outcome = held.execute()
    assert isinstance(outcome.error, OperatorStop)
    assert outcome.tripped_outputs == ("main",)
    (told,) = held.events("supply protection tripped")
    assert told["outputs"] == ["main"]


def test_a_protection_that_tripped_before_the_run_does_not_end_it(tmp_path: Path) -> None:
    with rig(tmp_path, files(POWER_ON_LINE, IDLE, "power_off")) as bench:
        supply = bench.simulated.instruments["supply"].device
        supply.begin(b"INST:NSEL 1;:SOUR:VOLT:PROT 13;:SOUR:VOLT:PROT:STAT ON;:SOUR:VOLT 14;:OUTP ON")
        assert bench.execute().exit_code == 0


def test_a_watchdog_of_the_supply_that_trips_ends_the_run_and_is_named(tmp_path: Path) -> None:
    driver = tmp_path / "unfed.yaml"
    text = shipped("drivers", "supply/scpi99_watchdog")
    driver.write_text(text.replace('  feed_watchdog: "OUTP:PROT:WDOG:RES"\n', ""), encoding="utf-8")
    edits = {"driver: supply/scpi99_watchdog": f"driver: {driver}"}
    with rig(tmp_path, files(POWER_ON_LINE, DRIVEN, LONG_HOLD, "power_off", bench=edits)) as bench:
        outcome = bench.execute()
        (trip,) = bench.events("trip")
        assert journal_ends_safe(bench)
    assert outcome.exit_code == 4
    assert trip["limit"] == "supply_watchdog"
    assert 10.0 < trip["at_s"] < 20.0


def test_a_watchdog_that_is_fed_is_no_trouble_is_armed_before_power_and_disarmed_at_the_end(tmp_path: Path) -> None:
    with rig(tmp_path, files(POWER_ON_LINE, "hold: {for: 30 s}", "power_off")) as bench:
        assert bench.execute().exit_code == 0
        sent = bench.taps.to("supply")
        assert not bench.connections.watchdog.settings.enabled
    armed = next(number for number, text in enumerate(sent) if "WDOG ON" in text)
    powered = next(number for number, text in enumerate(sent) if text.endswith("OUTP ON"))
    assert armed < powered


def test_a_watchdog_goes_on_where_the_bench_is_not_known_to_be_safe(tmp_path: Path) -> None:
    """In the end it may be what switches the outputs off."""
    with rig(tmp_path, files(POWER_ON_LINE, "hold: {for: 30 s}")) as bench:
        bench.at(20.0, lambda: bench.taps.forge("supply", "OUTP?", "1"))
        assert bench.execute().exit_code == 5
        assert bench.connections.watchdog.settings.enabled
