"""The instruments of a run, real or simulated, opened at their addresses, and the clock that they share."""

from __future__ import annotations

import itertools
import os
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from functools import partial

from benchctl.clock import Clock, RealClock
from benchctl.errors import OperatorStop
from benchctl.guard.bench_lock import BenchLock, bench_lock, lock_identities
from benchctl.instruments.bench import Bench, open_bench
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.links.opening import Opener, open_link
from benchctl.instruments.links.recordings.recording_link import recorded
from benchctl.instruments.links.recordings.traffic import Recording
from benchctl.launch.simulated.description import describe
from benchctl.launch.simulated.served_addresses import is_served
from benchctl.launch.simulated.virtual_time import VirtualBench, in_virtual_time
from benchctl.runner.acting.desk import Desk
from benchctl.runner.acting.run import Files
from benchctl.simulated_identity import is_simulated
from benchctl.simulator.bench import SimulatedBench


@dataclass(frozen=True)
class Opened:
    """The instruments, and their clock. Real ones are locked against other runs; for simulated ones, what is behind
    them. `connect` opens the bench again, under another interlock. `before` is the interlock of the part of the run
    before this one.
    """

    bench: Bench
    clock: Clock
    interlock: Interlock
    connect: Callable[[Interlock], Bench]
    lock: BenchLock | None = None
    simulated: SimulatedBench | None = None
    before: Interlock | None = None
    recording: Recording | None = None
    is_replayed: bool = False
    desk: Desk | None = None

    @property
    def asks_nobody(self) -> bool:
        """Whether what a person would do is done by the simulated bench, or was done when the run was recorded."""
        return self.simulated is not None or self.is_replayed

    @property
    def asked_to_end(self) -> OperatorStop | None:
        """That a person has asked the part of the run before to end, which may have ended by itself meanwhile."""
        return self.before.operator_stop if self.before is not None else None

    @property
    def simulated_roles(self) -> list[str]:
        """The roles of the instruments that are simulated, in a run against `benchctl simulate` too."""
        return [
            role
            for role, identity in self.bench.identities().items()
            if self.is_replayed
            or self.simulated is not None
            or is_simulated(identity)
            or is_served(self.bench.roles[role].session.address)
        ]

    @contextmanager
    def renewed(self) -> Iterator[Opened]:
        """The same instruments over new links, for another part of the run. The interlock is a new one too: nothing of
        the part before gets past its own.

        Raises:
            InstrumentError: an instrument cannot be opened.
        """
        self.bench.close()
        interlock = Interlock(self.clock)
        with self.connect(interlock) as bench:
            yield replace(self, bench=bench, interlock=interlock, before=self.interlock)


@contextmanager
def opened_bench(
    files: Files, *, dry_run: bool, elapsed_s: float = 0.0, records: bool = False, desk: Desk | None = None
) -> Iterator[Opened]:
    """The instruments at the bench file's addresses; in a dry run, simulated ones at addresses of their own.

    A dry run is in virtual time. At a `desk` it is in real time, because a person presses keys; then it has locks and
    guardians as a real run has.

    Time begins at `elapsed_s`, the end of an earlier part of the run. If it `records`, everything that is sent or
    received over the links is kept, in memory until the recording has a file.
    """
    with ExitStack() as stack:
        clock: Clock
        virtual: VirtualBench | None = None
        lock: BenchLock | None = None
        opener: Opener = open_link
        owed: Callable[[str], float] | None = None
        simulated: SimulatedBench | None = None
        if dry_run and desk is None:
            virtual = stack.enter_context(in_virtual_time(files.bench, files.amplifier, elapsed_s))
            clock, addresses = virtual.clock, virtual.addresses
            opener, owed, simulated = virtual.open_link, virtual.owed_s, virtual.simulated
        else:
            clock = RealClock(elapsed_s)
            addresses = {role: entry.address for role, entry in files.bench.instruments.items()}
            if dry_run:
                description = describe(files.bench, files.amplifier)
                serials = dict.fromkeys(addresses, _serial_of_a_session(description.bench.seed))
                simulated = stack.enter_context(SimulatedBench(description, clock.now, serials))
                addresses = {role: f"TCPIP::{host}::{port}::SOCKET" for role, (host, port) in simulated.start().items()}
            lock = stack.enter_context(bench_lock(addresses.values()))

        recording = stack.enter_context(Recording(clock.now)) if records else None
        if recording is not None:
            roles = {address: role for role, address in addresses.items()}
            opener = recorded(recording, opener, roles)

        def connect(interlock: Interlock) -> Bench:
            admit = partial(lock_identities, lock) if lock is not None else None
            bench = open_bench(
                files.bench, addresses, interlock, clock.sleep, admit=admit, opener=opener, owed=owed, now=clock.now
            )
            if virtual is not None:
                virtual.serve(bench)
            return bench

        interlock = Interlock(clock)
        bench = stack.enter_context(connect(interlock))
        yield Opened(bench, clock, interlock, connect, lock, simulated, recording=recording, desk=desk)


def _serial_of_a_session(seed: int) -> str:
    """Simulated instruments in real time are those of one session: two sessions must not lock each other out."""
    return f"SIM{seed}-{os.getpid()}-{next(_SESSIONS)}"


_SESSIONS = itertools.count(1)
