"""Where a part of the safe state does not confirm, a real run leaves the bench to its guardian, and says so at once."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from benchctl.archive.journal.events import NOT_YET_CONFIRMED
from benchctl.errors import OperatorStop
from benchctl.guard.confirmation import Confirmation
from benchctl.guard.guard import Guard
from benchctl.guard.states import State
from tests.runner.rig import POWER_ON, Rig, rig

MAIN = ("supply", "output 'main' off")


class Ear:
    """Remembers what it was told, in order."""

    def __init__(self) -> None:
        self.told: list[str] = []

    def stopping(self, text: str) -> None:
        self.told.append(text)

    def alarm(self, text: str) -> None:
        self.told.append(text)

    def relief(self, text: str) -> None:
        self.told.append(text)


class StandIn:
    """In the place of a guardian: confirms everything, or nothing more than the run has."""

    def __init__(self, bench: Rig, *, confirms: bool) -> None:
        self._bench = bench
        self._confirms = confirms
        self.calls: list[float] = []

    def __call__(self, told: tuple[Confirmation, ...], wait_s: float) -> tuple[Confirmation, ...]:
        self.calls.append(wait_s)
        self._bench.run.bench.leave()
        return tuple(replace(each, confirmed=True, detail="") for each in told) if self._confirms else told


@contextmanager
def guarded_bench(tmp_path: Path, ear: Ear) -> Iterator[tuple[Rig, Guard]]:
    """A bench whose guard has a guardian behind it, with its power on."""
    with rig(tmp_path) as bench:
        bench.begin()
        bench.do(POWER_ON)
        bench.clock.sleep(1.0)
        bench.run.guard.stop()
        for output in bench.connections.outputs.values():
            output.switch(True)
        guard = Guard(
            bench.run.bench,
            [],
            bench.clock,
            bench.run.interlock,
            report=bench.run.recorder.event,
            trend=lambda _time_s, _readings: None,
            listener=ear,
            has_guardian=True,
        )
        bench.run.interlock.open(OperatorStop("enough"))
        yield bench, guard


@pytest.mark.parametrize(("confirms", "state"), [(True, State.SAFE), (False, State.UNSAFE)])
def test_the_guardian_is_called_as_soon_as_a_part_fails_and_what_it_says_counts(
    tmp_path: Path, *, confirms: bool, state: State
) -> None:
    ear = Ear()
    with guarded_bench(tmp_path, ear) as (bench, guard):
        bench.taps.forge("supply", "NSEL 1;:OUTP?", "1")
        stand_in = StandIn(bench, confirms=confirms)
        guard.leave_to(stand_in)
        told = guard.stop()
        alarms = bench.events(NOT_YET_CONFIRMED)
    assert guard.state is state
    assert stand_in.calls
    assert all(each.confirmed for each in told) is confirms
    assert (alarms[0]["instrument"], alarms[0]["part"]) == MAIN
    assert alarms[0]["by_hand"].startswith("open the switch in the supply lead")
    assert ear.told[0] == "STOPPING: enough"
    assert ear.told[1].startswith("NOT YET CONFIRMED: supply: output 'main' off (it answers '1' to")
    assert ("supply: output 'main' off: confirmed, by the guardian" in ear.told) is confirms


def test_where_every_part_confirms_the_guardian_is_not_called(tmp_path: Path) -> None:
    ear = Ear()
    with guarded_bench(tmp_path, ear) as (bench, guard):
        stand_in = StandIn(bench, confirms=True)
        guard.leave_to(stand_in)
        guard.stop()
    assert guard.state is State.SAFE
    assert stand_in.calls == []
    assert ear.told == ["STOPPING: enough"]


def test_whoever_is_in_a_hurry_leaves_everything_to_the_guardian_and_does_not_wait(tmp_path: Path) -> None:
    with guarded_bench(tmp_path, Ear()) as (bench, guard):
        stand_in = StandIn(bench, confirms=False)
        guard.leave_to(stand_in)
        guard.hurry()
        guard.stop()
    assert stand_in.calls == [0.0]
