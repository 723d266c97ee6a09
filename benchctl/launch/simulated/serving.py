"""Serve simulated instruments at a bench file's own loopback addresses, in real time."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager, nullcontext, suppress
from dataclasses import dataclass
from pathlib import Path

from benchctl.address import AddressError, LanAddress, SocketAddress, parse_address
from benchctl.clock import RealClock
from benchctl.documents.reader import load_amplifier, load_bench
from benchctl.errors import UsageError
from benchctl.launch.simulated.description import describe
from benchctl.launch.simulated.served_addresses import kept_as_served
from benchctl.simulator.bench import SimulatedBench
from benchctl.simulator.network.announce import Announcement, announced
from benchctl.simulator.network.ports import HislipPlace, Vxi11Place


@dataclass(frozen=True)
class Served:
    """Where one simulated instrument listens: at its address, and on a raw socket in any case."""

    address: str
    socket: tuple[str, int]
    hislip: tuple[str, int] | None


@contextmanager
def served(
    bench_file: str | Path, amplifier_file: str | Path, *, announce: bool = False
) -> Iterator[Mapping[str, Served]]:
    """Simulated instruments, by role, for as long as the block lasts.

    Args:
        announce: by multicast DNS, on loopback only.

    Raises:
        DocumentError: a file is wrong.
        UsageError: an address cannot be served, or is taken; nothing can be announced; or the list of simulated
            addresses, by which a run knows them, cannot be kept.
    """
    bench, amplifier = load_bench(bench_file), load_amplifier(amplifier_file)
    places = {role: position_of(role, entry.address) for role, entry in bench.instruments.items()}
    raw = {role: place for role, place in places.items() if isinstance(place, tuple)}
    vxi11 = {role: place for role, place in places.items() if isinstance(place, Vxi11Place)}
    hislip = {role: place for role, place in places.items() if isinstance(place, HislipPlace)}
    description = describe(bench, amplifier)
    serials = {role: _serial(description.bench.seed, entry.address) for role, entry in bench.instruments.items()}
    with SimulatedBench(description, RealClock().now, serials) as simulated:
        sockets = simulated.start(raw, hislip, vxi11)
        addresses = [entry.address for _, entry in bench.instruments.items()]
        addresses += [f"TCPIP::{host}::{port}::SOCKET" for host, port in sockets.values()]
        with (
            kept_as_served(addresses),
            announced(_announcements(simulated, sockets)) if announce else nullcontext(),
        ):
            yield {
                role: Served(entry.address, sockets[role], _host_and_port(hislip.get(role)))
                for role, entry in bench.instruments.items()
            }


def position_of(role: str, address: str) -> tuple[str, int] | HislipPlace | Vxi11Place:
    """Where an address asks an instrument to be: host and port of a raw socket, or a place for HiSLIP or VXI-11.

    Raises:
        UsageError: it is none of these.
    """
    with suppress(AddressError):
        match parse_address(address):
            case SocketAddress(host=host, port=port):
                return host, port
            case LanAddress(host=host, hislip_port=int(port), hislip_name=name):
                return HislipPlace(host, port, name)
            case LanAddress(host=host, vxi11_port=int(port), device=name):
                return Vxi11Place(host, port, name)
    raise UsageError(
        f"the {role}'s address '{address}' cannot be served: simulated instruments need one like "
        "TCPIP::127.0.0.1::15021::SOCKET, TCPIP::127.0.0.1::hislip0,4880::INSTR or TCPIP::127.0.0.1,15030::inst0::INSTR"
    )


def _serial(seed: int, address: str) -> str:
    """A serial number of its own for each place, so that a run can lock the instrument that it talks to; served there
    again, it is the same instrument, and a run that was cut off goes on with it."""
    _, host, *_, door, _ = parse_address(address).canonical.split("::")
    return f"SIM{seed}-{host}-{door}".replace(",", "-")


def _host_and_port(place: HislipPlace | None) -> tuple[str, int] | None:
    return None if place is None else (place.host, place.port)


def _announcements(simulated: SimulatedBench, sockets: Mapping[str, tuple[str, int]]) -> list[Announcement]:
    return [
        Announcement(instrument.device.identity, sockets[role], simulated.hislip_places.get(role))
        for role, instrument in simulated.instruments.items()
    ]
