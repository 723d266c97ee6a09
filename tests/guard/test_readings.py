"""What the guard tells while it watches: how old a reading is, how far the safe state has come."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from benchctl.archive.tables.trend import read_trend
from benchctl.errors import LimitTripped, OperatorStop
from benchctl.guard.confirmation import Confirmation
from benchctl.guard.limits import WATCHDOG_S
from benchctl.guard.states import State
from tests.runner.rig import FEED, POWER_ON, Rig, files, rig

ARM, STOP = "OUTP:PROT:WDOG ON", "OUTP:PROT:WDOG OFF"  # in the words of the workshop's supply


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Rig]:
    """A bench that is watched; nothing is on."""
    with rig(tmp_path) as made:
        made.begin()
        yield made


def test_a_reading_counts_as_old_once_it_is_a_second_later_than_it_is_due(bench: Rig) -> None:
    """Temperatures are read once a second: at 0 s, at 1 s, and then no more."""
    bench.clock.sleep(1.5)
    bench.taps.forge("thermometer", "(@102)", "9.91E37")  # ambient, which has no limit
    bench.clock.sleep(1.49)
    assert bench.run.guard.old_s("ambient") is None
    bench.clock.sleep(0.02)
    assert bench.run.guard.old_s("ambient") == pytest.approx(2.01)
    assert bench.run.guard.old_s("heatsink") is None
    bench.taps.forged.clear()
    bench.clock.sleep(1.0)
    assert bench.run.guard.old_s("ambient") is None


def test_a_reading_of_the_runners_counts_as_old_after_a_second_and_one_that_never_came_not_at_all(bench: Rig) -> None:
    assert bench.run.guard.old_s("output_offset") is None
    bench.run.guard.observe("output_offset", 0.001)
    bench.clock.sleep(0.99)
    assert bench.run.guard.old_s("output_offset") is None
    bench.clock.sleep(0.02)
    assert bench.run.guard.old_s("output_offset") == pytest.approx(1.01)
    assert bench.run.guard.readings["output_offset"] == 0.001


def test_what_is_read_again_and_again_is_told_from_what_only_some_step_reads(bench: Rig) -> None:
    assert bench.run.guard.is_sampled("supply_current")
    assert bench.run.guard.is_sampled("heatsink")
    assert not bench.run.guard.is_sampled("output_offset")


def test_what_will_be_read_again_and_again_is_known_before_the_guard_watches(tmp_path: Path) -> None:
    with rig(tmp_path) as made:
        assert made.run.guard.is_sampled("supply_current")
        assert not made.run.guard.is_sampled("output_offset")


def test_each_row_of_the_trend_holds_what_was_read_since_the_one_before(bench: Rig) -> None:
    bench.run.wait(2.9)
    bench.run.guard.stop()
    trend = read_trend(bench.run.recorder.folder)
    told_at_s = list(trend["time_s"][trend["heatsink_c"].notna()])
    assert told_at_s == pytest.approx([0.0, 1.0, 2.0], abs=0.2 + 1e-6)
    assert trend["supply_current_a"].notna().all()
    told = "".join(trend.columns)
    assert "protection" not in told, "what is not a quantity is not a column"
    assert "watchdog" not in told


@pytest.mark.parametrize(
    ("words", "period_s"),
    [("NSEL 1;:MEAS:VOLT?", 0.2), ("PROT:TRIP?", 2.0), (FEED, 1.0), ("NSEL 2;:MEAS:VOLT?", 1.0)],
)
def test_each_question_is_asked_at_its_own_period(tmp_path: Path, words: str, period_s: float) -> None:
    """Of the lead, because a limit watches it; a protection less often: the supply has switched off by itself then."""
    limits = {"supply_outputs": "{remote: {current: {above: 100 mA}}}"}
    with rig(tmp_path, files("power_off", limits=limits)) as made:
        made.begin()
        made.clock.sleep(0.1)
        made.taps.sent.clear()
        made.clock.sleep(10.0)
        asked = [text for text in made.taps.to("supply") if words in text]
    assert len(asked) == round(10.0 / period_s)


def test_how_far_the_safe_state_has_come_can_be_seen_while_it_is_carried_out_and_afterwards(bench: Rig) -> None:
    seen: list[tuple[Confirmation, ...]] = [bench.run.guard.parts]
    bench.taps.on_send.append(lambda _, text: seen.append(bench.run.guard.parts) if text == "ROUT:OPEN:ALL" else None)
    bench.run.guard.stop()
    assert [len(parts) for parts in seen] == [0, 4]
    assert {each.confirmed for each in seen[1]} == {False}
    assert bench.run.guard.parts == bench.run.guard.confirmations
    assert {each.confirmed for each in bench.run.guard.parts} == {True}


def test_nothing_more_is_read_once_the_run_is_to_stop(bench: Rig) -> None:
    bench.clock.sleep(1.0)
    bench.taps.sent.clear()
    bench.run.interlock.open(OperatorStop("enough"))
    bench.clock.sleep(5.0)
    assert bench.taps.to("thermometer") == []
    assert [text for text in bench.taps.to("supply") if "WDOG:RES" in text] == []


def test_readings_that_cease_trip_three_seconds_late_though_their_instrument_is_still_being_asked(bench: Rig) -> None:
    def hang(role: str, text: str) -> None:
        if role == "thermometer" and not bench.run.interlock.opened.is_set():
            bench.clock.sleep(30.0)

    bench.clock.sleep(1.5)  # read at 0 s and at 1 s, and to be read at 2 s
    bench.taps.on_send.append(hang)
    bench.clock.sleep(10.0, until=bench.run.interlock.opened)
    trip = bench.run.interlock.reason
    bench.clock.sleep(30.0)  # until it is let go
    assert isinstance(trip, LimitTripped)
    assert (trip.limit, trip.value) == ("heatsink", None)
    assert 5.0 <= trip.time_s <= 5.2 + 1e-6, "three seconds after it was due"
    assert str(trip).startswith("heatsink has not come for 4."), "it may be readable: nobody knows yet"


def test_readings_that_cease_where_no_limit_is_on_them_end_nothing_and_time_goes_on(tmp_path: Path) -> None:
    only_ambient = {"channels: {heatsink: 101, ambient: 102, load: 103}": "channels: {ambient: 102}"}
    with rig(tmp_path, files("power_off", bench=only_ambient)) as made:
        made.begin()
        made.clock.sleep(0.5)
        made.taps.on_send.append(lambda role, _: made.clock.sleep(20.0) if role == "thermometer" else None)
        made.clock.sleep(10.0)
        assert made.run.interlock.reason is None
        assert made.run.guard.old_s("ambient") == pytest.approx(10.5)
        made.taps.on_send.clear()
        made.clock.sleep(20.0)  # until it is let go


@pytest.mark.parametrize(
    ("takes_s", "order"),
    [(0.9, ["asked", "read", "off"]), (1.4, ["asked", "off"])],
    ids=["which is soon there", "which keeps it waiting for a second"],
)
def test_the_end_of_a_run_waits_for_a_reading_that_is_under_way(bench: Rig, takes_s: float, order: list[str]) -> None:
    seen: list[str] = []

    def answer_late(role: str, text: str) -> None:
        if role == "thermometer" and not seen:
            seen.append("asked")
            bench.clock.sleep(takes_s)
            seen.append("read")
        elif (role, text) == ("generator", "OUTP OFF"):
            seen.append("off")

    bench.clock.sleep(0.5)
    bench.taps.on_send.append(answer_late)
    bench.clock.sleep(0.6)  # it was asked a tenth of a second ago
    bench.run.guard.stop()
    assert seen == order


def test_a_supplys_watchdog_is_armed_first_and_stopped_last_where_the_bench_is_safe(tmp_path: Path) -> None:
    with rig(tmp_path) as made:
        made.taps.sent.clear()
        made.begin()
        made.do(POWER_ON)
        made.run.guard.stop()
        to_supply = made.taps.to("supply")
        armed, stopped = (next(i for i, text in enumerate(to_supply) if words in text) for words in (ARM, STOP))
        assert armed < to_supply.index("INST:NSEL 1;:OUTP ON")
        assert stopped > max(i for i, text in enumerate(to_supply) if text.endswith(":OUTP OFF"))
        assert made.events("watchdog armed")[0]["watchdog_s"] == WATCHDOG_S


def test_a_supply_without_words_for_a_watchdog_is_watched_without(tmp_path: Path) -> None:
    with rig(tmp_path, files("power_off", bench={"supply/scpi99_watchdog": "supply/scpi99"})) as made:
        made.begin()
        made.run.wait(5.0)
        made.run.guard.stop()
        assert made.run.guard.state is State.SAFE
        assert "supply_watchdog" not in {watch.limit.signal for watch in made.run.guard.watches}
        assert [text for text in made.taps.to("supply") if "WDOG" in text] == []


def test_a_watchdog_that_trips_ends_the_run_once_it_is_seen_for_three_seconds(bench: Rig) -> None:
    bench.taps.forge("supply", "WDOG:TRIP?", "1")
    began_s = bench.clock.now()
    with pytest.raises(LimitTripped) as caught:
        bench.run.wait(10.0)
    assert caught.value.limit == "supply_watchdog"
    assert str(caught.value).endswith("the limit: supply_watchdog must be fed and may not trip (of the driver file)")
    assert 3.0 - 1e-6 <= caught.value.time_s - began_s <= 4.0 + 1e-6


def test_a_supplys_watchdog_goes_on_where_the_bench_is_not_known_to_be_safe(bench: Rig) -> None:
    """It may be what switches off in the end."""
    bench.taps.forge("supply", "NSEL 1;:OUTP?", "1")
    bench.run.guard.stop()
    assert bench.run.guard.state is State.UNSAFE
    assert not [text for text in bench.taps.to("supply") if STOP in text]
