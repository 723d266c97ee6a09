"""When guardians are killed, alone, together or with their run, the bench is safe as long as one process is left."""

from __future__ import annotations

import os
import signal
import sys
from contextlib import suppress

import pytest

from tests.faults.killing import (
    DEADLINE_S,
    SAFE_WITHIN_S,
    LiveRun,
    ServedBench,
    family,
    until_everything_is_off,
    wait_for,
)

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")


def test_a_guardian_that_is_killed_is_started_anew_while_the_run_goes_on_and_the_run_is_no_less_guarded(
    bench: ServedBench, holding: LiveRun
) -> None:
    killed, other = holding.guardians()
    os.kill(killed, signal.SIGKILL)
    anew = holding.wait_for_event("guardian started anew", instead_of=killed)
    assert holding.guardians() == [other, anew["pid"]]
    assert bench.eyes.on(), "the run goes on"
    os.kill(other, signal.SIGKILL)
    os.kill(holding.process.pid, signal.SIGKILL)
    assert until_everything_is_off(bench) < SAFE_WITHIN_S


@pytest.mark.parametrize("pair", [("run", "first"), ("second", "run"), ("first", "second")], ids=" then ".join)
def test_whichever_two_of_run_and_guardians_are_killed_the_bench_is_safe_within_a_second(
    pair: tuple[str, str], bench: ServedBench, holding: LiveRun
) -> None:
    pids = dict(zip(("run", "first", "second"), (holding.process.pid, *holding.guardians()), strict=True))
    os.kill(pids[pair[0]], signal.SIGKILL)
    holding.process.wait(DEADLINE_S) if pair[0] == "run" else None
    with suppress(ProcessLookupError):  # a guardian that has already done its work
        os.kill(pids[pair[1]], signal.SIGKILL)
    assert until_everything_is_off(bench) < SAFE_WITHIN_S
    if "run" not in pair:
        assert holding.end()[0] == 5


def test_where_run_and_both_guardians_are_killed_only_the_supplys_own_watchdog_is_left(
    bench: ServedBench, holding: LiveRun
) -> None:
    everyone = family(holding.process.pid)
    for blow in (signal.SIGSTOP, signal.SIGKILL):  # stopped first, so that none acts while others are killed
        for each in everyone:
            os.kill(each.pid, blow)
    wait_for(lambda: not bench.eyes.on() & {"supply", "turn-on lead"}, "the watchdog")
    assert bench.eyes.on() == {"generator", "load"}, "no software is left that could switch these off"
    assert bench.eyes.ask("supply", "OUTP:PROT:WDOG:TRIP?") == "1"


@pytest.mark.parametrize(
    ("pattern", "full", "number"),
    [
        ("benchctl", True, signal.SIGKILL),
        ("python", False, signal.SIGKILL),
        ("python", False, signal.SIGTERM),
    ],
)
def test_killing_all_that_is_found_by_the_words_that_people_type_leaves_nothing_on(
    pattern: str, full: bool, number: int, bench: ServedBench, holding: LiveRun
) -> None:
    found = [each.pid for each in family(holding.process.pid) if each.is_matched(pattern, full=full)]
    assert found == [holding.process.pid]
    for pid in found:
        os.kill(pid, number)
    assert until_everything_is_off(bench) < SAFE_WITHIN_S
