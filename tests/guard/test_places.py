"""Limits on single places: a sensor of the owner's own, a further output of the supply; each with what it lacks."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from benchctl.archive.tables.trend import read_trend
from benchctl.documents.sequence_file.bench_steps import Hold, PowerOff
from benchctl.errors import LimitTripped
from benchctl.guard.limits import limits_of
from tests.runner.checks.test_preflight import hazards
from tests.runner.rig import POWER_ON, Rig, amplifier_file, bench_file, files, rig, sequence_file

SENSORS = {"channels: {heatsink: 101,": "channels: {others: {transformer: 104, heatsink_right: 105}, heatsink: 101,"}
LIMITS = {
    "temperatures": "{transformer: {above: 90 degC, for: 2 s}}",
    "supply_outputs": "{remote: {current: {above: 100 mA}, voltage: {below: 10 V, for: 2 s}}}",
}


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Rig]:
    with rig(tmp_path, files("power_off", limits=LIMITS, bench=SENSORS)) as found:
        found.begin()
        yield found


def trip_of(bench: Rig) -> LimitTripped:
    with pytest.raises(LimitTripped) as caught:
        bench.run.wait(10.0)
    return caught.value


def test_nothing_trips_on_a_bench_that_is_well(bench: Rig) -> None:
    bench.do(POWER_ON, Hold(for_s=10.0), PowerOff(), Hold(for_s=10.0))
    assert bench.run.interlock.reason is None


def test_a_sensor_of_the_owners_own_trips_at_its_own_bound_and_after_its_own_time(bench: Rig) -> None:
    began_s = bench.clock.now()
    bench.taps.forge("thermometer", "(@104)", "90.5")
    trip = trip_of(bench)
    assert (trip.limit, trip.value) == ("transformer", 90.5)
    assert 2.0 - 1e-6 <= trip.time_s - began_s <= 3.0 + 1e-6
    assert "transformer above 90 degC for 2 s (of the sequence file)" in str(trip)


def test_a_sensor_of_the_owners_own_that_cannot_be_read_trips(bench: Rig) -> None:
    bench.taps.forge("thermometer", "(@104)", "9.9E37")
    assert trip_of(bench).limit == "transformer"


def test_the_amplifiers_maximum_holds_wherever_a_sensor_is_on_its_heatsink(bench: Rig) -> None:
    bench.taps.forge("thermometer", "(@105)", "85.5")
    trip = trip_of(bench)
    assert trip.limit == "heatsink_right"
    assert "above 85 degC (of the amplifier file)" in str(trip)


def test_a_turn_on_lead_that_draws_too_much_trips(bench: Rig) -> None:
    bench.do(POWER_ON)
    bench.taps.forge("supply", "NSEL 2;:MEAS:CURR?", "0.4")
    trip = trip_of(bench)
    assert (trip.limit, trip.value, trip.unit) == ("supply_current_remote", 0.4, "A")


def test_a_turn_on_lead_without_its_voltage_trips_only_while_the_amplifier_is_on(bench: Rig) -> None:
    bench.run.wait(5.0)
    bench.do(POWER_ON)
    bench.taps.forge("supply", "NSEL 2;:MEAS:VOLT?", "0.1")
    trip = trip_of(bench)
    assert (trip.limit, trip.value) == ("supply_voltage_remote", 0.1)


def test_what_is_watched_is_in_the_trend_with_its_unit(bench: Rig) -> None:
    bench.do(POWER_ON)
    bench.run.guard.stop()
    trend = read_trend(bench.run.recorder.folder)
    assert trend["supply_voltage_remote_v"].max() == pytest.approx(12.0, abs=0.1)
    assert trend["supply_current_remote_a"].notna().any()
    assert trend["transformer_c"].dropna().between(20, 30).all()


def test_further_outputs_are_not_read_where_no_limit_watches_them(tmp_path: Path) -> None:
    with rig(tmp_path) as bench:
        bench.begin()
        bench.taps.sent.clear()  # that nothing is on is seen to before the first step
        bench.run.wait(5.0)
        assert not [text for text in bench.taps.to("supply") if "NSEL 2;:MEAS" in text]


def test_limits_of_all_files_hold_for_places_too() -> None:
    limits = {"limits:                               #": "limits:\n  temperatures: {transformer: {above: 80 degC}}  #"}
    found = limits_of(sequence_file("power_off", limits=LIMITS), bench_file(SENSORS | limits), amplifier_file())
    bounds = [(limit.bound.high, limit.origin) for limit in found if limit.signal == "transformer"]
    assert bounds == [(90.0, "sequence"), (80.0, "bench")]


@pytest.mark.parametrize(
    ("limits", "missing"),
    [
        (
            {"temperatures": "{choke: {above: 90 degC}}"},
            "limits choke (above 90 degC) and the bench has no thermometer",
        ),
        (
            {"supply_outputs": "{aux: {current: {above: 1 A}}}"},
            "limits supply_current_aux (above 1 A) and the bench has no supply output that reads it",
        ),
    ],
)
def test_preflight_refuses_a_sequence_that_limits_what_the_bench_has_not(limits: dict[str, str], missing: str) -> None:
    assert any(missing in hazard for hazard in hazards("power_off", limits=limits))
