"""Which instrument answers where: a raw socket for each role, and HiSLIP ports that several may share."""

from __future__ import annotations

import socket
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial

from benchctl.errors import UsageError
from benchctl.scpi.hislip.endpoint import HislipEndpoint
from benchctl.simulator.network.dialogue import Converse, Dialogue
from benchctl.simulator.network.raw_link import ALWAYS_OPEN, Door, RawLink
from benchctl.simulator.network.sockets import Address, address_of, listen

ANY_PORT: Address = ("127.0.0.1", 0)


@dataclass(frozen=True)
class HislipPlace:
    """Where an instrument answers HiSLIP. Several may share a port, told apart by their names there."""

    host: str = "127.0.0.1"
    port: int = 0
    name: str = "hislip0"


@dataclass(frozen=True)
class Listener:
    """A listening socket, what answers its clients, and how many it takes."""

    socket: socket.socket
    open: Callable[[], Dialogue]
    door: Door = ALWAYS_OPEN


@dataclass(frozen=True)
class Ports:
    """All listening sockets, and where each role is found."""

    listeners: tuple[Listener, ...]
    raw: Mapping[str, Address]
    hislip: Mapping[str, HislipPlace]


def open_ports(
    raw_links: Mapping[str, RawLink],
    converse: Converse,
    raw: Mapping[str, Address],
    hislip: Mapping[str, HislipPlace],
) -> Ports:
    """Listen: on a raw socket for each role in `raw_links`, a free one where `raw` gives no address, and on the HiSLIP
    ports in `hislip`.

    Raises:
        UsageError: an address that is not loopback, or that is taken; two equal names on one port.
    """
    sockets: list[socket.socket] = []

    def listening(host: str, port: int) -> socket.socket:
        sockets.append(listen(host, port))
        return sockets[-1]

    try:
        links = {role: listening(*raw.get(role, ANY_PORT)) for role in raw_links}
        shared = [(listening(host, port), names) for (host, port), names in _by_port(hislip)]
    except UsageError:
        for each in sockets:
            each.close()
        raise
    listeners = [
        Listener(link, partial(raw_links[role].open, partial(converse, role)), raw_links[role].door)
        for role, link in links.items()
    ]
    listeners += [Listener(link, _endpoint(names, converse).open) for link, names in shared]
    return Ports(
        listeners=tuple(listeners),
        raw={role: address_of(link) for role, link in links.items()},
        hislip={
            role: replace(hislip[role], port=address_of(link)[1]) for link, names in shared for role in names.values()
        },
    )


def _by_port(places: Mapping[str, HislipPlace]) -> list[tuple[Address, dict[str, str]]]:
    """Each port with the roles behind it, by their names there; port 0 means a port for this role alone."""
    ports: dict[tuple[str, int, str], dict[str, str]] = {}
    for role, place in places.items():
        names = ports.setdefault((place.host, place.port, "" if place.port else role), {})
        if names.setdefault(place.name.lower(), role) != role:
            raise UsageError(f"the {role} and the {names[place.name.lower()]} have the same HiSLIP address")
    return [((host, port), names) for (host, port, _), names in ports.items()]


def _endpoint(names: Mapping[str, str], converse: Converse) -> HislipEndpoint:
    instruments = {name: partial(converse, role, interruptible=True) for name, role in names.items()}
    return HislipEndpoint(instruments)
