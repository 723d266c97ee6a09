"""One run through proxies, one fault on the links to one instrument, and three times."""

from __future__ import annotations

import os
import re
import select
import signal
import threading
import time
from collections.abc import Iterator, Mapping, Set
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from benchctl.archive.journal.events import STOPPING
from benchctl.guard.safe_state import LATE_S
from benchctl.library import find
from tests.faults.killing import AMPLIFIER, QUESTIONS, LiveRun, ServedBench, served_bench, wait_for
from tests.faults.proxy import Fault, Proxy, Whose
from tests.ports import free_port

ROLES = ("generator", "oscilloscope", "load", "supply", "thermometer")
# Which outputs each instrument switches.
OUTPUTS = {"generator": {"generator"}, "supply": {"supply", "turn-on lead"}, "load": {"load"}}
OFF_WITHIN_S = 3.0
TOLD_WITHIN_S = 1.0
ENDED_WITHIN_S = 10.0
# How late a look at the bench and at the terminal may be on a busy computer.
LOOK_S = 0.3
# A run that has not noticed by then is stopped with Ctrl-C.
NOTICED_WITHIN_S = 12.0
STOPPED_AFTER_S = 0.5
# Nothing here takes this long; it ends the wait for a broken program.
LONGEST_S = 30.0
# How often a terminal's reader checks whether it should end.
_LOOK_UP_S = 0.05
_LAST_WORDS = re.compile(rb"Run folder: ")
_STOPPING = re.compile(rb"STOPPING: ")
_ALARM = re.compile(rb"\x1b\[1;31m[^\x1b]*NOT YET CONFIRMED")
_ADDRESS = re.compile(r"TCPIP::127\.0\.0\.1::(\d+)::SOCKET")

SEQUENCE = """\
benchctl: sequence 1
title: Busy with every instrument
limits:
  supply_current: {above: 95 A, for: 500 ms}
  heatsink: {above: 85 degC}
steps:
  - power_on: {voltage: 14.4 V, current_limit: 90 A}
  - set: {load: 4 ohm, frequency: 1 kHz, level: 300 mV}
  - measure_burst: {cycles: [1, 2, 4, 8, 16, 32], every: 250 ms, low_level: -20 dB, thd_n: 1 %}
  - hold: {for: 5 min}
  - power_off
"""


@dataclass(frozen=True)
class Case:
    """The fault, on which links, and whether Ctrl-C is pressed then."""

    role: str
    fault: Fault
    whose: Whose
    by_hand: bool
    one_client: bool = False

    @property
    def must_go_off(self) -> set[str]:
        """The outputs that can be switched off over the links that are left."""
        is_reached = self.whose == "run" or self.fault.lets_commands_through
        lost = set() if is_reached else OUTPUTS.get(self.role, set())
        return QUESTIONS.keys() - lost

    def __str__(self) -> str:
        whose = "the run's links" if self.whose == "run" else "every link"
        how = "Ctrl-C" if self.by_hand else "by itself"
        single = ", one client at a time" if self.one_client else ""
        return f"{self.role}: {whose} {self.fault.name}{single}; stopped {how}"


@dataclass(frozen=True)
class Times:
    """Times from the trip, in seconds; None if it did not happen.

    Attributes:
        off_s: until everything is off that can be switched off over the links that are left.
        told_s: until the terminal says that the run stops.
        alarmed_s: until it prints in red that something is not yet confirmed.
        ended_s: until the run has said how it ended.
        gone_s: until its process is gone; it writes the report before that.
        noticed_s: from the fault to the trip.
    """

    off_s: float | None
    told_s: float | None
    alarmed_s: float | None
    ended_s: float | None
    gone_s: float | None
    noticed_s: float | None
    faults: tuple[str, ...] = ()


class Terminal:
    """A separate terminal for a run, with what was written on it and when."""

    def __init__(self) -> None:
        self._master, self.slave = os.openpty()
        self.written = b""
        self._at: list[tuple[int, float]] = []  # up to which byte, at what time
        self._closing = threading.Event()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def first(self, pattern: re.Pattern[bytes]) -> float | None:
        """When a matching text first appeared, in wall-clock time."""
        found = pattern.search(self.written)
        if found is None:
            return None
        return next(at for end, at in self._at if end >= found.end())

    def close(self) -> None:
        """The run has ended, and its guardian too. The reader ends first: its descriptor's number is used again."""
        self._closing.set()
        self._reader.join()
        for descriptor in (self._master, self.slave):
            with suppress(OSError):
                os.close(descriptor)

    def _read(self) -> None:
        with suppress(OSError):
            while not self._closing.is_set():
                if select.select([self._master], [], [], _LOOK_UP_S)[0]:
                    self._keep(os.read(self._master, 1 << 16))

    def _keep(self, piece: bytes) -> None:
        now = time.time()
        self._at.append((len(self.written) + len(piece), now))
        self.written += piece


@dataclass(frozen=True)
class ProxiedBench:
    """A served bench, and the same behind proxies."""

    served: ServedBench
    file: Path
    proxies: Mapping[str, Proxy] = field(default_factory=dict)


@contextmanager
def proxied_bench(folder: Path, *, one_client: bool = False) -> Iterator[ProxiedBench]:
    """The workshop's bench, served, and a bench file with the addresses of proxies in front of it."""
    amplifier = folder / "quick.yaml"
    text = find("amplifiers", AMPLIFIER).read_text("utf-8")
    awake_at_once = text.replace("delay: 2 s", "delay: 50 ms").replace("turn_on_delay: 1.5 s", "turn_on_delay: 20 ms")
    amplifier.write_text(awake_at_once, encoding="utf-8")
    with ExitStack() as stack:
        served = stack.enter_context(served_bench(folder, amplifier))
        proxies: list[Proxy] = []

        def proxied(match: re.Match[str]) -> str:
            proxies.append(Proxy(free_port(), ("127.0.0.1", int(match[1])), one_client=one_client))
            stack.callback(proxies[-1].close)
            return f"TCPIP::127.0.0.1::{proxies[-1].port}::SOCKET"

        file = folder / "proxied.yaml"
        file.write_text(_ADDRESS.sub(proxied, served.file.read_text("utf-8")), encoding="utf-8")
        (folder / "busy.yaml").write_text(SEQUENCE, encoding="utf-8")
        yield ProxiedBench(served, file, dict(zip(ROLES, proxies, strict=True)))


@dataclass
class Watch:
    """When each output was first seen off and stayed off, and when the run ended; in wall-clock time."""

    off_at: dict[str, float] = field(default_factory=dict)
    ended_at: float | None = None

    def look(self, on: set[str], run: LiveRun) -> None:
        """Look once."""
        now = time.time()
        for name in QUESTIONS:
            if name in on:
                self.off_at.pop(name, None)
            else:
                self.off_at.setdefault(name, now)
        if self.ended_at is None and run.process.poll() is not None:
            self.ended_at = now


def perform(case: Case, bench: ProxiedBench, out: Path) -> Times:
    """Run, strike, and watch."""
    terminal = Terminal()
    folder, proxy = bench.file.parent, bench.proxies[case.role]
    run = LiveRun(folder / "busy.yaml", bench.file, folder / "quick.yaml", out, terminal.slave)
    try:
        try:
            run.wait_for_event("step started", step="3 measure_burst")
        except AssertionError as ended:
            raise RuntimeError(terminal.written.decode("utf-8", "replace")) from ended
        struck_at = time.time()
        proxy.strike(case.fault, case.whose, run.process.pid)
        watch = _watch(case, run, bench, struck_at)
        return _times(case, run, watch, terminal, struck_at)
    finally:
        run.process.kill()
        run.process.wait()
        proxy.heal()
        _let_guardian_finish(run)
        terminal.close()


def _watch(case: Case, run: LiveRun, bench: ProxiedBench, struck_at: float) -> Watch:
    """Watch until the run has ended and everything that can be off is off; stop the run if it does not stop itself."""
    watch = Watch()
    patience_s = STOPPED_AFTER_S if case.by_hand else NOTICED_WITHIN_S
    is_stopped = False
    while time.time() < struck_at + patience_s + LONGEST_S:
        watch.look(bench.served.eyes.on(), run)
        if watch.ended_at is not None and watch.off_at.keys() >= case.must_go_off:
            break
        if not is_stopped and time.time() >= struck_at + patience_s:
            is_stopped = True
            if not run.events(STOPPING):
                run.process.send_signal(signal.SIGINT)
        time.sleep(0.01)
    return watch


def _times(case: Case, run: LiveRun, watch: Watch, terminal: Terminal, struck_at: float) -> Times:
    stopping = run.events(STOPPING)
    if not stopping:
        return Times(None, None, None, None, None, None, ("the run did not stop",))
    tripped_at = _wall(stopping[0]) - (stopping[0]["time_s"] - stopping[0]["at_s"])

    def since_trip(at: float | None) -> float | None:
        return None if at is None else at - tripped_at

    off = [watch.off_at.get(name) for name in case.must_go_off]
    is_off = watch.off_at.keys() >= case.must_go_off
    times = Times(
        off_s=since_trip(max(at for at in off if at is not None)) if is_off else None,
        told_s=since_trip(terminal.first(_STOPPING)),
        alarmed_s=since_trip(terminal.first(_ALARM)),
        ended_s=since_trip(terminal.first(_LAST_WORDS)),
        gone_s=since_trip(watch.ended_at),
        noticed_s=tripped_at - struck_at,
    )
    return replace(times, faults=tuple(_faults(case, run, times, tripped_at, watch.off_at.keys())))


def _faults(case: Case, run: LiveRun, times: Times, tripped_at: float, is_off: Set[str]) -> Iterator[str]:
    """What is not as promised. `is_off`: the outputs that were seen off at the end, for any reason: a supply that no
    command reaches switches off by itself when its watchdog is not fed."""
    for name, taken_s, most_s in (
        ("off", times.off_s, OFF_WITHIN_S),
        ("told", times.told_s, TOLD_WITHIN_S),
        ("ended", times.ended_s, ENDED_WITHIN_S),
    ):
        if taken_s is None or taken_s > most_s + LOOK_S:
            yield f"{name} after {taken_s} s"
    confirmed_in_time = [
        event
        for event in run.events("safe state")
        if event["state"] == "safe" and _wall(event) - tripped_at <= LATE_S + LOOK_S
    ]
    if not confirmed_in_time and (times.alarmed_s is None or times.alarmed_s > TOLD_WITHIN_S + LOOK_S):
        yield f"not confirmed, and said in red after {times.alarmed_s} s"
    for event in run.events("run ended"):
        if case.whose == "run" and not event["safe"]:
            yield "not safe though only the run's own links were struck"
        if event["safe"] and (on := OUTPUTS.get(case.role, set()) - is_off):
            yield f"said to be safe though on: {', '.join(sorted(on))}"


def _wall(event: Mapping[str, Any]) -> float:
    return datetime.fromisoformat(event["wall"]).timestamp()


def _let_guardian_finish(run: LiveRun) -> None:
    """Wait for the guardian's end, because the next run needs the bench alone."""
    if not run.events("guardians dismissed"):
        with suppress(TimeoutError):
            wait_for(lambda: run.guardian_says("safe"), "the guardian's report")
