"""The time from a passed limit to the generator off, in real time, while the oscilloscope transfers a long record."""

from __future__ import annotations

import random
import statistics
import threading
from collections.abc import Iterator
from contextlib import ExitStack, suppress

from benchctl.clock import RealClock
from benchctl.documents.model.limits import VoltageLimit
from benchctl.documents.reader import load_bench
from benchctl.errors import BenchctlError
from benchctl.guard.guard import Guard
from benchctl.guard.limits import WatchedLimit
from benchctl.guard.sampler import SAMPLING_PERIOD_S
from benchctl.instruments.bench import Bench, open_bench
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.oscilloscope.record import Record
from benchmarks.apart import Apart, bench_apart
from benchmarks.rig import AWAKE_AFTER_S, BENCH, SUPPLY_V, play
from benchmarks.rows import Row

TRIALS = 100
LONG_RECORD = Record(span_s=0.02, pretrigger_s=0.0, samples=1_000_000)
SIGNAL = "output A"
LIMIT_V, PASSED_V = 15.0, 15.5
BLOCK_TIMEOUT_S = 5.0


def rows() -> Iterator[Row]:
    """Median and 99th percentile over a hundred trips, each at a different phase of the guard's sampling."""
    chance = random.Random(5)
    clock = RealClock()
    with ExitStack() as stack:
        supply, oscilloscope = (stack.enter_context(bench_apart()) for _ in range(2))
        addresses = {**supply.addresses, "oscilloscope": oscilloscope.addresses["oscilloscope"]}
        _record(oscilloscope, clock)
        reactions_s = [
            _reaction_s(supply, addresses, clock, chance.uniform(0.0, SAMPLING_PERIOD_S)) for _ in range(TRIALS)
        ]
    yield Row(
        "guard: from a limit passed to the generator off",
        f"{statistics.quantiles(reactions_s, n=100, method='inclusive')[98] * 1e3:.0f} ms",
        f"at most {(SAMPLING_PERIOD_S + 0.05) * 1e3:.0f} ms",
        f"99th percentile of {TRIALS} trips in real time, median {statistics.median(reactions_s) * 1e3:.0f} ms, while "
        "another thread fetches a record of 1 MSa again and again",
    )


def _record(oscilloscope: Apart, clock: RealClock) -> None:
    """A long record, which stays in the oscilloscope's memory."""
    oscilloscope.feed(SUPPLY_V)
    clock.sleep(AWAKE_AFTER_S)
    with open_bench(load_bench(BENCH), oscilloscope.addresses, Interlock(clock), clock.sleep) as bench:
        bench.oscilloscope.prepare()
        play(bench)
        bench.oscilloscope.capture("long", [SIGNAL], LONG_RECORD, {SIGNAL: 40.0})


def _reaction_s(supply: Apart, addresses: dict[str, str], clock: RealClock, wait_s: float) -> float:
    """One trip: the supply's voltage rises at an instant that does not depend on the guard."""
    supply.feed(SUPPLY_V)
    interlock = Interlock(clock)
    with open_bench(load_bench(BENCH), addresses, interlock, clock.sleep) as bench:
        bench.generator.output_on()
        guard = _guard(bench, clock, interlock)
        transfer = threading.Thread(target=_transfer, args=(bench,), daemon=True)
        transfer.start()
        guard.start()
        clock.sleep(SAMPLING_PERIOD_S + wait_s)
        reaction_s = supply.seconds_until_off(PASSED_V)
        guard.stop()
        transfer.join()
    return reaction_s


def _guard(bench: Bench, clock: RealClock, interlock: Interlock) -> Guard:
    limit = WatchedLimit("supply_voltage", VoltageLimit(above=LIMIT_V), "sequence")
    return Guard(bench, [limit], clock, interlock, report=lambda *_, **__: None, trend=lambda *_: None)


def _transfer(bench: Bench) -> None:
    """Read the long record until the interlock stops it."""
    with suppress(BenchctlError):
        while True:
            bench.oscilloscope.session.ask_block("WAV:DATA?", BLOCK_TIMEOUT_S)
