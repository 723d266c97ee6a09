"""Which instrument answers where: a raw socket for each role, VXI-11 ports, and HiSLIP ports that several may share."""

from __future__ import annotations

import socket
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial

from benchctl.errors import UsageError
from benchctl.scpi.device.conversation import Conversation
from benchctl.scpi.hislip.endpoint import HislipEndpoint
from benchctl.simulator.network.dialogue import Converse, Dialogue
from benchctl.simulator.network.raw_link import ALWAYS_OPEN, Door, RawLink
from benchctl.simulator.network.sockets import Address, address_of, listen
from benchctl.simulator.network.vxi11 import Vxi11Channel

ANY_PORT: Address = ("127.0.0.1", 0)


@dataclass(frozen=True)
class HislipPlace:
    """Where an instrument answers HiSLIP. Several may share a port, told apart by their names there."""

    host: str = "127.0.0.1"
    port: int = 0
    name: str = "hislip0"


@dataclass(frozen=True)
class Vxi11Place:
    """Where an instrument answers VXI-11, without a port mapper: the client names the port."""

    host: str = "127.0.0.1"
    port: int = 0
    name: str = "inst0"


@dataclass(frozen=True)
class Places:
    """Where instruments are asked to answer, by role: on a raw socket in any case, at a free port if none is named."""

    raw: Mapping[str, Address] = field(default_factory=dict)
    hislip: Mapping[str, HislipPlace] = field(default_factory=dict)
    vxi11: Mapping[str, Vxi11Place] = field(default_factory=dict)


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
    vxi11: Mapping[str, Vxi11Place]


def open_ports(
    raw_links: Mapping[str, RawLink],
    converse: Converse,
    places: Places,
    now: Callable[[], float],
) -> Ports:
    """Listen: on a raw socket for each role in `raw_links`, and wherever else `places` says.

    Raises:
        UsageError: an address that is not loopback, or that is taken; two equal names on one port.
    """
    sockets: list[socket.socket] = []

    def listening(host: str, port: int) -> socket.socket:
        sockets.append(listen(host, port))
        return sockets[-1]

    try:
        links = {role: listening(*places.raw.get(role, ANY_PORT)) for role in raw_links}
        shared = [(listening(host, port), names) for (host, port), names in _by_port(places.hislip)]
        called = {role: listening(place.host, place.port) for role, place in places.vxi11.items()}
    except UsageError:
        for each in sockets:
            each.close()
        raise
    listeners = [
        Listener(link, partial(raw_links[role].open, partial(converse, role)), raw_links[role].door)
        for role, link in links.items()
    ]
    listeners += [Listener(link, _endpoint(names, converse).open) for link, names in shared]
    listeners += [
        Listener(link, partial(Vxi11Channel, places.vxi11[role].name, _interruptible(converse, role), now))
        for role, link in called.items()
    ]
    return Ports(
        listeners=tuple(listeners),
        raw={role: address_of(link) for role, link in links.items()},
        hislip={
            role: replace(places.hislip[role], port=address_of(link)[1])
            for link, names in shared
            for role in names.values()
        },
        vxi11={role: replace(places.vxi11[role], port=address_of(link)[1]) for role, link in called.items()},
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
    return HislipEndpoint({name: _interruptible(converse, role) for name, role in names.items()})


def _interruptible(converse: Converse, role: str) -> Callable[[], Conversation]:
    return partial(converse, role, interruptible=True)
