"""Serve simulated instruments at a bench file's own loopback addresses, in real time."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from pyvisa.rname import InvalidResourceName, ResourceName, TCPIPSocket

from benchctl.clock import RealClock
from benchctl.documents.reader import load_amplifier, load_bench
from benchctl.errors import UsageError
from benchctl.launch.simulated import describe
from benchctl.simulator.bench import SimulatedBench


@dataclass(frozen=True)
class Served:
    """Where one simulated instrument listens."""

    address: str
    socket: tuple[str, int]


@contextmanager
def served(bench_file: str | Path, amplifier_file: str | Path) -> Iterator[Mapping[str, Served]]:
    """Simulated instruments, by role, for as long as the block lasts.

    Raises:
        DocumentError: a file is wrong.
        UsageError: an address is no loopback socket, or is taken.
    """
    bench, amplifier = load_bench(bench_file), load_amplifier(amplifier_file)
    sockets = {role: socket_of(role, entry.address) for role, entry in bench.instruments.items()}
    with SimulatedBench(describe(bench, amplifier), RealClock().now) as simulated:
        simulated.start(sockets)
        yield {role: Served(entry.address, sockets[role]) for role, entry in bench.instruments.items()}


def socket_of(role: str, address: str) -> tuple[str, int]:
    """Host and port of a raw socket address.

    Raises:
        UsageError: it is none.
    """
    try:
        parsed = ResourceName.from_string(address)
    except InvalidResourceName:
        parsed = None
    if not isinstance(parsed, TCPIPSocket):
        raise UsageError(
            f"the {role}'s address '{address}' cannot be served: simulated instruments need one like "
            "TCPIP::127.0.0.1::15021::SOCKET"
        )
    return parsed.host_address, int(parsed.port)
