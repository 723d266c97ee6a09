"""A simulated bench in virtual time: for a dry run, and for any other command that tries a bench file without a
bench.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from benchctl.clock import VirtualClock
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench as BenchFile
from benchctl.instruments.bench import Bench
from benchctl.instruments.links.of_driver import link_settings
from benchctl.instruments.links.settings import LinkSettings
from benchctl.launch.simulated.description import describe
from benchctl.launch.simulated.prompt_link import PromptLink
from benchctl.simulator.bench import SimulatedBench

if TYPE_CHECKING:
    from benchctl.instruments.links.link import Link


@dataclass(frozen=True)
class VirtualBench:
    """Simulated instruments, their clock, and the way to them."""

    clock: VirtualClock
    simulated: SimulatedBench
    addresses: Mapping[str, str]
    pauses_s: Mapping[str, float]
    """by role, how long each message waits for the one before"""

    def open_link(self, address: str, settings: LinkSettings) -> Link:
        """A link that knows at once that no answer will come."""
        from benchctl.instruments.links.transports import every_link  # noqa: PLC0415 - pyvisa takes half a second

        link = every_link.open_link(address, settings)
        return PromptLink(link, self.simulated.settle, pauses=settings.pause_s > 0.0)

    def owed_s(self, role: str) -> float:
        """How long an instrument needs from now on until it has done what it was sent and takes the next message."""
        return self.simulated.owed_s(role) + self.pauses_s[role]

    def serve(self, bench: Bench) -> None:
        """From now on time moves only when everything that was sent to these instruments has arrived."""
        self.clock.before_jumps(partial(let_arrive, bench, self.simulated))


@contextmanager
def in_virtual_time(file: BenchFile, amplifier: Amplifier, elapsed_s: float = 0.0) -> Iterator[VirtualBench]:
    """Simulated instruments behind a bench file. The caller is the first thread of the virtual time."""
    clock = VirtualClock(elapsed_s=elapsed_s)
    pauses_s = {role: link_settings(file.drivers[role], entry).pause_s for role, entry in file.instruments.items()}
    with (
        clock.take_part(),
        SimulatedBench(describe(file, amplifier), clock.now, holds_answers=False) as simulated,
    ):
        places = simulated.start()
        addresses = {role: f"TCPIP::{host}::{port}::SOCKET" for role, (host, port) in places.items()}
        yield VirtualBench(clock, simulated, addresses, pauses_s)


def let_arrive(bench: Bench, simulated: SimulatedBench) -> None:
    """A command has no answer, so before time moves it is waited for; an answer says that all before it has arrived."""
    if not bench.is_settled:
        simulated.settle()
