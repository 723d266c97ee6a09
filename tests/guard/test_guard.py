"""The guard: it reads, it judges, it trips by itself, and it says how safe the bench is."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from benchctl.archive.tables.trend import read_trend
from benchctl.documents.sequence_file.bench_steps import Hold, Set
from benchctl.errors import ArchiveError, LimitTripped, OperatorStop
from benchctl.guard.sampler import SAMPLING_PERIOD_S, TEMPERATURE_PERIOD_S
from benchctl.guard.states import IllegalEventError, State
from benchctl.instruments.pace import REMEMBERED
from benchctl.runner.engine.execute import prepare
from tests.runner.rig import POWER_ON, Rig, files, rig


def limited(**limits: str) -> Mapping[str, str]:
    return {signal: f"{{{bound}}}" for signal, bound in limits.items()}


def run_into_a_trip(bench: Rig, seconds: float = 60.0) -> LimitTripped:
    """Hold until the guard ends it."""
    with pytest.raises(LimitTripped) as caught:
        bench.run.wait(seconds)
    return caught.value


def test_supply_is_read_five_times_a_second_and_temperatures_once(tmp_path: Path) -> None:
    with rig(tmp_path) as bench:
        bench.begin()
        bench.run.wait(9.9)
        bench.run.guard.stop()
        trend = read_trend(bench.run.recorder.folder)
    first_10_s = trend[trend["time_s"] < 10.0 - 1e-6]
    assert first_10_s["supply_voltage_v"].notna().sum() == round(10.0 / SAMPLING_PERIOD_S)
    assert first_10_s["heatsink_c"].notna().sum() == round(10.0 / TEMPERATURE_PERIOD_S)


def test_a_thermometer_that_turned_out_slow_before_the_guard_began_is_read_no_more_often_than_it_can_be(
    tmp_path: Path,
) -> None:
    with rig(tmp_path) as bench:
        prepare(bench.run)
        for _ in range(REMEMBERED):
            bench.run.bench.thermometer.session.pace.note(2.0)
        bench.run.guard.start()
        bench.run.wait(9.9)
        bench.run.guard.stop()
        trend = read_trend(bench.run.recorder.folder)
    assert trend["heatsink_c"].notna().sum() <= 2  # three channels of two seconds each take six


def test_the_supply_is_asked_what_tripped_only_where_a_run_ended_early(tmp_path: Path) -> None:
    with rig(tmp_path) as bench:
        bench.begin()
        bench.do(POWER_ON)
        bench.run.guard.stop()
        to_supply = bench.taps.to("supply")
    off = max(place for place, text in enumerate(to_supply) if "OUTP OFF" in text)
    assert not any("PROT:TRIP?" in text for text in to_supply[off:])


def test_a_trip_opens_the_interlock_and_the_bench_is_safe_before_the_runner_notices(tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", limits=limited(heatsink="above: 85 degC"))) as bench:
        bench.begin()
        bench.do(POWER_ON)
        bench.taps.forge("thermometer", "(@101)", "85.5")
        bench.clock.sleep(2.0)  # the runner is busy elsewhere, and does not look
        assert not bench.connections.outputs[1].live
        assert bench.run.guard.state is State.SAFE
        trip = bench.run.interlock.reason
    assert isinstance(trip, LimitTripped)
    assert (trip.limit, trip.value) == ("heatsink", 85.5)


@pytest.mark.parametrize("answer", ["9.91E37", "9.9E37", "NAN", "---", ""])
def test_a_temperature_that_is_no_reading_trips(tmp_path: Path, answer: str) -> None:
    """SCPI-99 volume 1, 7.2.1.4 and 7.2.1.5: 9.91E37 is not a number, 9.9E37 infinity."""
    with rig(tmp_path) as bench:
        bench.begin()
        bench.taps.forge("thermometer", "(@101)", answer)
        trip = run_into_a_trip(bench)
    assert (trip.limit, trip.value) == ("heatsink", None)


def test_a_reading_that_failed_is_in_the_journal_with_its_reason_and_empty_in_the_trend(tmp_path: Path) -> None:
    with rig(tmp_path) as bench:
        bench.begin()
        bench.taps.forge("thermometer", "(@102)", "9.91E37")  # ambient, which has no limit
        bench.run.wait(3.0)
        bench.run.guard.stop()
        failed = bench.events("reading failed")
        trend = read_trend(bench.run.recorder.folder)
    assert {tuple(event["signals"]) for event in failed} == {("ambient",)}
    assert "over range, or nothing to measure" in failed[0]["reason"]
    assert trend["ambient_c"].isna().sum() > trend["heatsink_c"].isna().sum()
    assert bench.run.interlock.reason is None


def test_a_thermometer_that_is_gone_trips(tmp_path: Path) -> None:
    with rig(tmp_path) as bench:
        bench.begin()
        bench.run.wait(1.5)
        bench.taps.kill("thermometer")
        assert run_into_a_trip(bench).limit in {"heatsink", "load"}


def test_a_supply_that_is_gone_trips_a_limit_on_it(tmp_path: Path) -> None:
    with rig(tmp_path) as bench:
        bench.begin()
        bench.taps.kill("supply")
        trip = run_into_a_trip(bench)
        bench.run.guard.stop()
        assert bench.run.guard.state is State.UNSAFE
    assert (trip.limit, trip.value) == ("supply_current", None)


def test_low_voltage_is_no_trip_while_the_supply_is_off_and_one_afterwards(tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", limits=limited(supply_voltage="below: 11 V, for: 500 ms"))) as bench:
        bench.begin()
        bench.do(Hold(for_s=5.0), POWER_ON, Hold(for_s=5.0))
        began_s = bench.clock.now()
        bench.run.bench.supply.set_voltage("main", 10.0)
        trip = run_into_a_trip(bench)
    assert trip.value == pytest.approx(10.0, abs=0.05)
    assert 0.5 <= trip.time_s - began_s <= 0.5 + 2 * SAMPLING_PERIOD_S + 1e-6


def test_a_reading_of_the_runner_is_judged_at_once(tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", limits=limited(output_offset="outside: 500 mV"))) as bench:
        bench.begin()
        bench.run.guard.observe("output_offset", 0.4)
        with pytest.raises(LimitTripped, match="output_offset is -600 mV"):
            bench.run.guard.observe("output_offset", -0.6)
        assert bench.run.guard.state is State.SAFE


def test_the_journal_names_limit_value_unit_and_time_of_a_trip(tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", limits=limited(supply_current="above: 1 A"))) as bench:
        bench.begin()
        with pytest.raises(LimitTripped):
            bench.do(POWER_ON)
        bench.run.guard.stop()
        (trip,) = bench.events("trip")
    assert trip["limit"] == "supply_current"
    assert trip["value"] > 1.0
    assert trip["unit"] == "A"
    assert trip["at_s"] == trip["time_s"]
    assert trip["reason"].endswith("the limit: supply_current above 1 A (of the sequence file)")


def test_the_first_trip_is_the_reason_and_there_is_only_one(tmp_path: Path) -> None:
    both = limited(heatsink="above: 10 degC", ambient="above: 10 degC")
    with rig(tmp_path, files("power_off", limits=both)) as bench:
        bench.begin()
        run_into_a_trip(bench)
        bench.run.guard.stop()
        assert len(bench.events("trip")) == 1
        assert len(bench.events("safe state")) == 1


def test_an_open_interlock_makes_the_bench_safe_at_once_though_the_runner_is_busy(tmp_path: Path) -> None:
    with rig(tmp_path) as bench:
        bench.begin()
        bench.do(POWER_ON, Hold(for_s=0.05))  # between two of the guard's looks
        opened_s = bench.clock.now()
        bench.run.interlock.open(OperatorStop("enough"))
        bench.clock.sleep(1.0)
        assert bench.run.guard.state is State.SAFE
        assert not bench.connections.outputs[1].live
        assert bench.events("stopping")[0]["time_s"] == opened_s, "the commands are out by then"


def test_stopping_makes_the_bench_safe_once(tmp_path: Path) -> None:
    with rig(tmp_path) as bench:
        bench.begin()
        bench.do(POWER_ON, Set(load_ohm=4.0))
        first = bench.run.guard.stop()
        assert bench.run.guard.stop() == first
        assert all(each.confirmed for each in first)
        assert len(bench.events("safe state")) == 1


def test_a_guard_that_never_began_to_watch_still_makes_the_bench_safe(tmp_path: Path) -> None:
    with rig(tmp_path) as bench:
        assert all(each.confirmed for each in bench.run.guard.stop())
        assert bench.run.guard.state is State.SAFE


def test_a_guard_is_started_once(tmp_path: Path) -> None:
    with rig(tmp_path) as bench:
        bench.begin()
        with pytest.raises(IllegalEventError):
            bench.run.guard.start()


def test_a_bench_that_was_not_safe_is_asked_again_at_the_end(tmp_path: Path) -> None:
    """A late confirmation is good news, and the journal has both."""
    with rig(tmp_path) as bench:
        bench.begin()
        bench.taps.forge("supply", "NSEL 1;:OUTP?", "1")
        bench.run.interlock.open(OperatorStop("enough"))
        bench.clock.sleep(1.0)
        assert bench.run.guard.state is State.UNSAFE
        bench.taps.forged.clear()
        bench.run.guard.stop()
        assert bench.run.guard.state is State.SAFE
        assert [event["state"] for event in bench.events("safe state")] == ["unsafe", "safe"]


def test_the_journal_says_which_instrument_did_not_confirm_and_why(tmp_path: Path) -> None:
    with rig(tmp_path) as bench:
        bench.begin()
        bench.taps.forge("generator", "OUTP?", "1")
        bench.run.guard.stop()
        last = bench.events("safe state")[-1]
    assert last["state"] == "unsafe"
    assert [(each["instrument"], each["confirmed"]) for each in last["instruments"]] == [
        ("generator", False),
        ("supply", True),
        ("supply", True),
        ("load", True),
    ]
    assert last["instruments"][0]["detail"] == "it answers '1' to OUTP?"


def test_a_trend_that_cannot_be_written_ends_the_watch_in_the_safe_state(tmp_path: Path) -> None:
    with rig(tmp_path) as bench:
        bench.begin()
        bench.do(POWER_ON)

        def fail(time_s: float, readings: object) -> None:
            raise ArchiveError("no room left")

        bench.run.guard._trend = fail
        with pytest.raises(ArchiveError):
            bench.run.wait(5.0)
        bench.run.guard.stop()
        assert bench.run.guard.state is State.SAFE
        assert not bench.connections.outputs[1].live


def test_a_fault_of_the_guard_itself_makes_the_bench_safe_and_is_kept(tmp_path: Path) -> None:
    with rig(tmp_path) as bench:
        bench.begin()
        bench.do(POWER_ON)

        def fail(time_s: float, readings: object) -> None:
            raise ZeroDivisionError("a slip")

        bench.run.guard._trend = fail
        bench.clock.sleep(2.0)
        bench.run.guard.stop()
        assert isinstance(bench.run.guard.fault, ZeroDivisionError)
        assert bench.run.interlock.reason is not None
        assert bench.run.guard.state is State.SAFE
        assert not bench.connections.outputs[1].live
