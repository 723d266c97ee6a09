"""Who announces itself on the local network: discovery of services (DNS-SD) over multicast DNS.

Only the standard library. The question leaves from a port of its own, so the answers come straight back to it (RFC
6762, 6.7) and nothing else on this computer is disturbed. No instrument gets a message: its network interface answers.
"""

from __future__ import annotations

import os
import select
import socket
import struct
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack, suppress
from dataclasses import dataclass, field
from typing import TypeVar

from benchctl.instruments.discovery.dns_messages import (
    PTR,
    SRV,
    TXT,
    A,
    MessageError,
    Place,
    Record,
    labels_of,
    question,
    records,
)

_T = TypeVar("_T")
# RFC 6762, 3: the group and port of multicast DNS.
_GROUP = ("224.0.0.251", 5353)
# RFC 6762, 17: the longest message.
_LONGEST_BYTES = 9000
# The kinds of service by which instruments with a network interface announce themselves.
RAW, HISLIP, VXI11, LXI = "_scpi-raw._tcp.local", "_hislip._tcp.local", "_vxi-11._tcp.local", "_lxi._tcp.local"
KINDS = (RAW, HISLIP, VXI11, LXI)
# RFC 6762, 5.2: a question is repeated after a second at the earliest; one of them may be lost.
_AGAIN_S = 1.0
LISTEN_S = 2.5
# A network with more than this many names is not a bench; nobody may fill the memory.
_MOST_NAMES = 1000


@dataclass(frozen=True)
class Service:
    """What an instrument announces: its name, the kind of service, where, and what it says of itself."""

    name: str
    kind: str
    host: str
    port: int
    text: dict[str, str] = field(default_factory=dict)

    @property
    def address(self) -> str | None:
        """The VISA address of the service; None where it takes no messages."""
        if self.kind == RAW:
            return f"TCPIP::{self.host}::{self.port}::SOCKET"
        if self.kind == HISLIP:
            return f"TCPIP::{self.host}::hislip0,{self.port}::INSTR"
        return f"TCPIP::{self.host}::inst0::INSTR" if self.kind == VXI11 else None


def browse(listen_s: float = LISTEN_S, interfaces: Sequence[str] | None = None) -> list[Service]:
    """What announces itself within this time.

    Args:
        listen_s: how long answers are waited for.
        interfaces: names of network interfaces, such as `lo`; without, all of this computer.
    """
    heard = _Heard()
    with ExitStack() as stack:
        doors = [stack.enter_context(door) for door in _doors(interfaces)]
        _ask(doors, [(kind, PTR) for kind in KINDS])
        end, again = time.monotonic() + listen_s, time.monotonic() + _AGAIN_S
        while doors and (left := end - time.monotonic()) > 0:
            ready, _, _ = select.select(doors, [], [], min(left, max(0.0, again - time.monotonic())))
            for door in ready:
                heard.take(_received(door))
            if time.monotonic() >= again:
                _ask(doors, [*((kind, PTR) for kind in KINDS), *heard.missing()])
                again = time.monotonic() + _AGAIN_S
            elif ready and (missing := heard.newly_missing()):
                _ask(doors, missing)
    return sorted(heard.services(), key=lambda each: (each.host, each.kind, each.port))


def _doors(interfaces: Sequence[str] | None) -> Iterator[socket.socket]:
    """A socket for each network interface that lets multicast out; none is joined to the group."""
    for index, name in socket.if_nameindex():
        if interfaces is not None and name not in interfaces:
            continue
        door = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        try:
            door.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, _chosen(index))
            door.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_TTL, 1)
            door.setblocking(False)
        except OSError:  # this interface does no multicast
            door.close()
        else:
            yield door


def _chosen(index: int) -> bytes:
    """An interface by its number, as the system wants it: Windows a number, others `struct ip_mreqn` (Windows and macOS
    not tried)."""
    return struct.pack("!I", index) if os.name == "nt" else struct.pack("4s4si", b"", b"", index)


def _ask(doors: Iterable[socket.socket], asked: Sequence[tuple[str, int]]) -> None:
    message = question(asked[:_MOST_NAMES])
    for door in doors:
        with suppress(OSError):  # an interface that is down
            door.sendto(message, _GROUP)


def _received(door: socket.socket) -> list[Record]:
    """The records of one datagram; whatever is no answer is none."""
    try:
        return records(door.recv(_LONGEST_BYTES))
    except (MessageError, OSError):
        return []


class _Heard:
    """The records so far, and what follows from them. Names of DNS do not distinguish capitals."""

    def __init__(self) -> None:
        self._named: dict[str, str] = {}  # each service's name, in small letters -> as it was written
        self._places: dict[str, Place] = {}
        self._hosts: dict[str, str] = {}
        self._texts: dict[str, dict[str, str]] = {}
        self._asked: set[tuple[str, int]] = set()

    def take(self, heard: Iterable[Record]) -> None:
        for record in heard:
            name = record.name.lower()
            if record.kind == PTR and isinstance(record.data, str) and name in KINDS:
                _keep(self._named, record.data.lower(), record.data)
            elif record.kind == SRV and isinstance(record.data, Place):
                _keep(self._places, name, record.data)
            elif record.kind == A and isinstance(record.data, str):
                _keep(self._hosts, name, record.data)
            elif record.kind == TXT and isinstance(record.data, dict):
                _keep(self._texts, name, record.data)

    def missing(self) -> list[tuple[str, int]]:
        """The records without which a service that was named cannot be reached."""
        places = [(name, SRV) for name in self._named if name not in self._places]
        texts = [(name, TXT) for name in self._named if name not in self._texts]
        wanted = {place.host.lower() for name, place in self._places.items() if name in self._named}
        return [*places, *texts, *((host, A) for host in sorted(wanted) if host not in self._hosts)]

    def newly_missing(self) -> list[tuple[str, int]]:
        """Those that were not asked for yet."""
        new = [each for each in self.missing() if each not in self._asked]
        self._asked.update(new)
        return new

    def services(self) -> Iterator[Service]:
        """The services that say where they are."""
        for name, written in self._named.items():
            place = self._places.get(name)
            host = self._hosts.get(place.host.lower()) if place is not None else None
            kind = next((kind for kind in KINDS if name.endswith("." + kind)), "")
            if place is not None and host is not None and kind:
                yield Service(labels_of(written)[0], kind, host, place.port, self._texts.get(name, {}))


def _keep(kept: dict[str, _T], name: str, data: _T) -> None:
    if name in kept or len(kept) < _MOST_NAMES:
        kept[name] = data
