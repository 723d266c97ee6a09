"""What the guard reads when, and how it notices that readings have ceased to come."""

from __future__ import annotations

import math
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.journal import read_journal
from benchctl.archive.recorder import Recorder
from benchctl.clock import RealClock
from benchctl.errors import LimitTripped
from benchctl.guard.guard import Guard
from benchctl.guard.limits import limits_of
from benchctl.guard.sampler import STALE_S, Sampler, Sensor
from benchctl.instruments.bench import open_bench
from benchctl.instruments.interlock import Interlock
from benchctl.launch.simulated.description import describe
from benchctl.simulator.bench import SimulatedBench
from tests.faults.taps import Taps
from tests.instruments.scripted import Conversation, ScriptedPeer
from tests.runner.rig import files


def sampler(*periods_s: float) -> Sampler:
    found = Sampler([Sensor((f"every {period_s:g} s",), period_s, lambda: (0.0,)) for period_s in periods_s])
    found.begin(0.0)
    return found


def test_each_sensor_is_due_at_its_own_period() -> None:
    watched = sampler(0.2, 1.0)
    due = [(tick, *sensor.signals) for tick in range(11) for sensor in watched.due(tick * 0.2)]
    assert [tick for tick, signal in due if signal == "every 0.2 s"] == list(range(11))
    assert [tick for tick, signal in due if signal == "every 1 s"] == [0, 5, 10]


def test_a_reading_that_comes_in_time_is_one() -> None:
    watched = sampler(1.0)
    (sensor,) = watched.due(0.0)
    assert watched.has_read(sensor, 0.1)
    assert watched.has_read(sensor, 0.1 + 1.0 + STALE_S)


def test_a_reading_that_comes_too_late_is_none_and_the_next_is_one_again() -> None:
    watched = sampler(1.0)
    (sensor,) = watched.due(0.0)
    assert not watched.has_read(sensor, 1.01 + STALE_S)
    assert watched.has_read(sensor, 2.0 + STALE_S)


def test_readings_that_have_ceased_are_stale_after_their_period_and_some_seconds() -> None:
    watched = sampler(0.2, 1.0)
    assert watched.stale(0.2 + STALE_S) == []
    assert watched.stale(0.21 + STALE_S) == ["every 0.2 s"]
    assert watched.stale(1.01 + STALE_S) == ["every 0.2 s", "every 1 s"]


def test_readings_that_never_came_are_stale_too() -> None:
    assert sampler(0.2).stale(100.0) == ["every 0.2 s"]


def test_it_is_known_beforehand_when_the_first_of_the_readings_will_be_stale() -> None:
    watched = sampler(0.2, 1.0)
    assert watched.stale_at_s() == pytest.approx(0.2 + STALE_S)
    watched.has_read(next(watched.due(2.0)), 2.0)  # the one that is read more often
    assert watched.stale_at_s() == pytest.approx(1.0 + STALE_S)
    nothing_read = Sampler([Sensor((), 1.0, tuple)])
    nothing_read.begin(0.0)
    assert nothing_read.stale_at_s() == math.inf


@contextmanager
def real_time(
    tmp_path: Path, thermometer: str, limits: dict[str, str]
) -> Iterator[tuple[Guard, Interlock, Taps, Path]]:
    """A guard in real time on simulated instruments, but for the thermometer at this address."""
    these = files("power_off", limits=limits)
    clock, taps = RealClock(), Taps()
    interlock = Interlock(clock)
    with SimulatedBench(describe(these.bench, these.amplifier), clock.now) as simulated:
        served = {role: f"TCPIP::{host}::{port}::SOCKET" for role, (host, port) in simulated.start().items()}
        addresses = served | {"thermometer": thermometer}
        taps.role_at = {address: role for role, address in addresses.items()}
        folder = RunFolder.create(tmp_path, "test", "amplifier", clock)
        recorder = Recorder(folder, clock)
        with open_bench(these.bench, addresses, interlock, clock.sleep, opener=taps.opener) as bench:
            limits_held = limits_of(these.sequence, these.bench, these.amplifier)
            guard = Guard(bench, limits_held, clock, interlock, report=recorder.event, trend=recorder.trend)
            yield guard, interlock, taps, folder.journal
            guard.stop()
        recorder.finish()


def silent(conversation: Conversation, text: str) -> None:
    """Says who it is, and nothing else any more."""


def test_a_silent_thermometer_does_not_keep_the_supply_from_being_watched(tmp_path: Path) -> None:
    """The current rises only once the thermometer has been asked, and trips while its answer is waited for."""
    limits = {"supply_current": "{above: 100 A}"}
    with ScriptedPeer(silent) as peer, real_time(tmp_path, peer.address, limits) as (guard, interlock, taps, _):

        def raise_current(role: str, text: str) -> None:
            if role == "thermometer" and text.startswith("MEAS"):
                taps.forge("supply", "MEAS:CURR?", "101")

        taps.on_send.append(raise_current)
        guard.start()
        RealClock().sleep(60.0, until=interlock.opened)
        trip = interlock.reason
    assert isinstance(trip, LimitTripped)
    assert (trip.limit, trip.value) == ("supply_current", 101.0)


def test_readings_that_cease_trip_before_their_own_thread_has_given_up(tmp_path: Path) -> None:
    """A question that hangs, and with it everything after it on that link: six seconds until a session gives up."""
    over = threading.Event()

    def hang(conversation: Conversation, text: str) -> None:
        if text.startswith("MEAS"):
            over.wait(60.0)

    with ScriptedPeer(hang) as peer, real_time(tmp_path, peer.address, {}) as (guard, interlock, _, journal):
        guard.start()
        RealClock().sleep(60.0, until=interlock.opened)
        trip = interlock.reason
        failed = read_journal(journal).of_kind("reading failed")
        over.set()
    assert isinstance(trip, LimitTripped)
    assert (trip.limit, trip.value) == ("heatsink", None)
    assert failed == ()
