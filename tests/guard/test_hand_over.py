"""Where a part of the safe state does not confirm, a real run leaves the bench to its guardian, and says so at once."""

from __future__ import annotations

import threading
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
def guarded_bench(tmp_path: Path, ear: Ear, *, has_guardian: bool = True) -> Iterator[tuple[Rig, Guard]]:
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
            has_guardian=has_guardian,
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
    assert stand_in.calls == ([1.0] if confirms else [1.0, 2.5]), "3.5 s in all, and a word after the first of them"
    assert all(each.confirmed for each in told) is confirms
    assert (alarms[0]["instrument"], alarms[0]["part"]) == MAIN
    assert alarms[0]["by_hand"].startswith("open the switch in the supply lead")
    assert ear.told[0] == "STOPPING: enough"
    assert ear.told[1].startswith("NOT YET CONFIRMED: supply: output 'main' off (it answers '1' to")
    assert ("supply: output 'main' off: confirmed, by the guardian" in ear.told) is confirms


def test_what_turns_out_not_to_be_off_while_the_guardian_has_the_bench_is_told_and_so_is_what_comes_off(
    tmp_path: Path,
) -> None:
    """A supply's main output does not confirm, then its other one neither; in the end both do."""
    ear = Ear()
    with guarded_bench(tmp_path, ear) as (bench, guard):
        bench.taps.forge("supply", "NSEL 1;:OUTP?", "1")
        answers = iter([{"output 'main' off", "output 'remote' off"}, set[str]()])

        def hand_over(told: tuple[Confirmation, ...], wait_s: float) -> tuple[Confirmation, ...]:
            bench.run.bench.leave()
            missing = next(answers)
            return tuple(replace(each, confirmed=each.part not in missing, detail="") for each in told)

        guard.leave_to(hand_over)
        guard.stop()
    assert guard.state is State.SAFE
    assert [text.split(" (")[0].split(". By")[0] for text in ear.told[1:]] == [
        "NOT YET CONFIRMED: supply: output 'main' off",
        "NOT YET CONFIRMED: supply: output 'remote' off",
        "supply: output 'remote' off: confirmed, by the guardian",
        "supply: output 'main' off: confirmed, by the guardian",
    ]


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
        assert not guard.is_hurried
        guard.hurry()
        assert guard.is_hurried
        guard.stop()
    assert stand_in.calls == [0.0]


class Still(Ear):
    """A terminal that stands still until it is let go."""

    def __init__(self) -> None:
        super().__init__()
        self.let_go = threading.Event()

    def stopping(self, text: str) -> None:
        self.let_go.wait(30.0)
        super().stopping(text)


def test_a_run_does_not_end_before_what_happened_is_told(tmp_path: Path) -> None:
    class Slow(Ear):
        def stopping(self, text: str) -> None:
            threading.Event().wait(0.05)
            super().stopping(text)

    slow = Slow()
    with guarded_bench(tmp_path, slow) as (bench, guard):
        guard.leave_to(StandIn(bench, confirms=True))
        guard.stop()
        assert slow.told == ["STOPPING: enough"]


def test_a_terminal_that_stands_still_does_not_hold_up_a_real_run(tmp_path: Path) -> None:
    still = Still()
    with guarded_bench(tmp_path, still) as (bench, guard):
        guard.leave_to(StandIn(bench, confirms=True))
        guard.stop()
        assert guard.state is State.SAFE
        assert still.told == []
        still.let_go.set()


def test_in_a_dry_run_what_is_told_is_told_in_its_order_of_events(tmp_path: Path) -> None:
    """By whoever carries out the safe state: another thread would tell it sooner or later, as it happens."""
    by: list[str] = []

    class Noticing(Ear):
        def stopping(self, text: str) -> None:
            by.append(threading.current_thread().name)

    with guarded_bench(tmp_path, Noticing(), has_guardian=False) as (_, guard):
        guard.stop()
    assert by == [threading.current_thread().name]
