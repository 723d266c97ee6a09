"""Look for instruments, and say hello to those of a bench file, real or simulated. Nothing is switched on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager, ExitStack, contextmanager
from pathlib import Path

from benchctl.clock import RealClock
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.reader import load_amplifier, load_bench
from benchctl.guard.bench_lock import bench_lock
from benchctl.instruments.bench import open_bench
from benchctl.instruments.discovery.hello import Hello, say_hello
from benchctl.instruments.discovery.search import Search, search
from benchctl.instruments.interlock import Interlock
from benchctl.launch.simulated.description import describe
from benchctl.simulator.bench import SimulatedBench

# The simulated bench needs an amplifier; a person who only asks its instruments need not name one.
ANY_AMPLIFIER = "hx2150"


def find(given: Sequence[str], *, looks_around: bool, interfaces: Sequence[str] | None = None) -> Search:
    """Look for instruments. An instrument that a run uses is left alone."""
    return search(given, looks_around=looks_around, interfaces=interfaces, admit=_alone)


def _alone(address: str) -> AbstractContextManager[object]:
    return bench_lock([address])


def hello_to(bench_file: str | Path, *, simulated: bool = False, amplifier: str = ANY_AMPLIFIER) -> list[Hello]:
    """Say hello to each instrument of a bench file.

    Raises:
        DocumentError: a file is wrong.
        PreflightRefused: a run uses one of the instruments.
    """
    file = load_bench(bench_file)
    with ExitStack() as stack:
        addresses = stack.enter_context(_simulated(file, amplifier) if simulated else _real(file))
        clock = RealClock()
        bench = stack.enter_context(open_bench(file, addresses, Interlock(clock), clock.sleep, connect=False))
        entries = dict(file.instruments.items())
        with ThreadPoolExecutor(max_workers=len(entries)) as pool:
            return list(pool.map(lambda name: say_hello(bench.roles[name], entries[name]), entries))


@contextmanager
def _real(file: Bench) -> Iterator[Mapping[str, str]]:
    """The bench file's own addresses; no run may use them meanwhile."""
    addresses = {role: entry.address for role, entry in file.instruments.items()}
    with bench_lock(addresses.values()):
        yield addresses


@contextmanager
def _simulated(file: Bench, amplifier: str) -> Iterator[Mapping[str, str]]:
    """Simulated instruments in real time, at addresses of their own."""
    description = describe(file, load_amplifier(amplifier))
    with SimulatedBench(description, RealClock().now) as bench:
        yield {role: f"TCPIP::{host}::{port}::SOCKET" for role, (host, port) in bench.start().items()}
