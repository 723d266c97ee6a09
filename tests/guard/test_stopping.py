"""How a watch ends: by the end of the run, by an instrument, by the operator, by a journal that is lost."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from benchctl.errors import ArchiveError, LimitTripped, NoAnswer, OperatorStop
from benchctl.guard.states import State
from tests.runner.rig import POWER_ON, Rig, rig


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Rig]:
    """A bench that is watched; nothing is on."""
    with rig(tmp_path) as made:
        made.begin()
        yield made


@pytest.mark.parametrize("is_stopped_by_the_operator", [False, True])
def test_where_no_reading_is_under_way_a_stop_takes_no_time(bench: Rig, is_stopped_by_the_operator: bool) -> None:
    """All of this is known without any wait: that nobody reads any more, and that the bench is safe."""
    bench.clock.sleep(0.5)
    if is_stopped_by_the_operator:
        bench.run.interlock.open(OperatorStop("enough"))
        bench.clock.sleep(0.01)
    began_s = bench.clock.now()
    bench.run.guard.stop()
    assert bench.run.guard.state is State.SAFE
    assert bench.clock.now() == pytest.approx(began_s)


def test_what_was_not_read_because_the_run_stops_does_not_count_as_unreadable(bench: Rig) -> None:
    """The heatsink is read first; the other channels of the same thermometer were to follow."""
    bench.clock.sleep(0.5)
    bench.taps.forge("thermometer", "(@101)", "85.5")
    bench.clock.sleep(1.0)
    assert isinstance(bench.run.interlock.reason, LimitTripped)
    assert bench.run.guard.readings["ambient"] is not None


def test_a_run_that_is_stopped_while_the_guard_reads_has_no_fault_and_no_other_reason(bench: Rig) -> None:
    """The guard would ask again for an answer that is garbled, and may not any more."""

    def stop(role: str, text: str) -> None:
        if role == "thermometer":
            bench.run.interlock.open(OperatorStop("enough"))

    bench.clock.sleep(0.5)
    bench.taps.forge("thermometer", "(@101)", "---")
    bench.taps.on_send.append(stop)
    bench.clock.sleep(1.0)
    bench.run.guard.stop()
    assert isinstance(bench.run.interlock.reason, OperatorStop)
    assert bench.run.guard.fault is None
    assert bench.events("reading failed") == ()


def test_a_journal_that_is_lost_while_the_guard_reads_is_the_reason_and_not_the_reading(bench: Rig) -> None:
    """An answer that is garbled once is asked for again, which the journal is told."""

    def fail(event: str, **fields: Any) -> None:
        raise ArchiveError("no room left")

    bench.run.bench.report_to(fail)
    bench.taps.forge("thermometer", "(@101)", "---")
    bench.clock.sleep(2.0)
    assert isinstance(bench.run.interlock.reason, ArchiveError)
    assert bench.run.guard.state is State.SAFE


def test_a_journal_that_is_lost_while_the_bench_is_made_safe_is_kept_for_whoever_ends_the_run(bench: Rig) -> None:
    def fail(event: str, **fields: Any) -> None:
        raise ArchiveError("no room left")

    bench.do(POWER_ON)
    bench.run.guard._report = fail
    bench.run.interlock.open(OperatorStop("enough"))
    bench.clock.sleep(1.0)
    assert isinstance(bench.run.guard.trouble, ArchiveError)
    assert not bench.connections.outputs[1].live


def test_a_watchdog_that_does_not_take_its_end_is_in_the_journal(bench: Rig) -> None:
    def refuse(role: str, text: str) -> None:
        if role == "supply" and "WDOG OFF" in text:
            raise NoAnswer("no answer in time")

    bench.taps.on_send.append(refuse)
    bench.run.guard.stop()
    (event,) = bench.events("watchdog not disarmed")
    assert "no answer in time" in event["reason"]
    assert bench.run.guard.state is State.SAFE
