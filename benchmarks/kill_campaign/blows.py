"""Which processes are killed: only the run, two of run and guardians within 0.1 s, or all that a pattern finds.

Only processes that the campaign has started itself are used. Each is held by a descriptor of the system, so that a
signal never reaches another process that got the same number later.
"""

from __future__ import annotations

import os
import random
import signal
import time
from collections.abc import Sequence
from contextlib import ExitStack, suppress
from dataclasses import dataclass

from tests.faults.killing import LiveRun, family

GAP_S = 0.1
PEOPLE_TYPE = (
    ("pkill -9 -f benchctl", "benchctl", True, signal.SIGKILL),
    ("pkill -9 -f python", "python", True, signal.SIGKILL),
    ("pkill -9 python", "python", False, signal.SIGKILL),
    ("pkill python", "python", False, signal.SIGTERM),
)


@dataclass(frozen=True)
class Blow:
    """One way to end a run.

    Attributes:
        name: in the campaign's table.
        members: which of the run (0) and its guardians (1, 2) are hit, in order; empty: all that the pattern finds.
        gap_s: how long after the first the second is hit.
        pattern, full, signal: as pkill takes them.
    """

    name: str
    members: tuple[int, ...] = (0,)
    gap_s: float = 0.0
    pattern: str = ""
    full: bool = False
    signal: signal.Signals = signal.SIGKILL

    @property
    def spares_the_run(self) -> bool:
        """Whether only guardians are hit."""
        return bool(self.members) and 0 not in self.members

    def strike(self, run: LiveRun) -> None:
        """Hit them; returns the time of the last hit."""
        pids = self._found(run)
        with ExitStack() as stack:
            held = [_held(pid, stack) for pid in pids]
            for number, descriptor in enumerate(held):
                if number:
                    time.sleep(self.gap_s)
                if descriptor is not None:
                    with suppress(ProcessLookupError):  # it has ended meanwhile
                        signal.pidfd_send_signal(descriptor, self.signal)

    def _found(self, run: LiveRun) -> Sequence[int]:
        if self.pattern:
            return [each.pid for each in family(run.process.pid) if each.is_matched(self.pattern, full=self.full)]
        standing = [run.process.pid, *run.guardians()]
        return [standing[member] for member in self.members if member < len(standing)]


def _held(pid: int, stack: ExitStack) -> int | None:
    try:
        descriptor = os.pidfd_open(pid)
    except ProcessLookupError:
        return None
    stack.callback(os.close, descriptor)
    return descriptor


def the_run(_generator: random.Random) -> Blow:
    """The run alone."""
    return Blow("run")


def a_pair(generator: random.Random) -> Blow:
    """Two of the three, in any order."""
    one, other = generator.sample(range(3), 2)
    first, second = ("run" if member == 0 else "a guardian" for member in (one, other))
    name = f"{first}, then {second}" if first != second else "both guardians"
    return Blow(name, (one, other), generator.uniform(0.0, GAP_S))


def by_name(generator: random.Random) -> Blow:
    """All processes that a person who wants to end a run finds by name."""
    name, pattern, full, number = generator.choice(PEOPLE_TYPE)
    return Blow(name, (), pattern=pattern, full=full, signal=number)


DRAWN = {"run": the_run, "pairs": a_pair, "names": by_name}
