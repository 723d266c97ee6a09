"""A search for instruments: what announces itself, what is plugged in, what was named, and who answers there."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field, replace

from benchctl.address import NetworkAddress, parse_address
from benchctl.errors import BenchctlError
from benchctl.instruments.discovery.asking import Answered, ask
from benchctl.instruments.discovery.matching import fitting, questions, shipped_matches
from benchctl.instruments.discovery.mdns import LXI, Service, browse
from benchctl.instruments.discovery.visa_list import Listed, visa_list
from benchctl.readable import printable

_MOST_AT_ONCE = 16
_LONGEST_SHOWN = 120
ANNOUNCED, PLUGGED_IN, GIVEN = "announced", "listed", "given"

# A serial port may lead to anything. Opening it moves its handshake lines, which makes some boards start anew, and the
# baud rate is not known.
NOT_ASKED = "not asked, as a serial port may lead to anything; give its address to ask it"

Admit = Callable[[str], AbstractContextManager[object]]
Asker = Callable[[str], Answered]


def ask_who_and_which(address: str) -> Answered:
    """Ask at an address who is there, and whatever tells a shipped driver file that it fits."""
    return ask(address, questions(shipped_matches()))


@dataclass(frozen=True)
class Place:
    """An address at which an instrument may be.

    Attributes:
        address: its VISA address.
        found_by: how it became known.
        announced: what it says of itself on the network.
        asked: whether it may be asked.
    """

    address: str
    found_by: tuple[str, ...]
    announced: str = ""
    asked: bool = True


@dataclass(frozen=True)
class Found:
    """A place, and what came of asking there; `note` says why it was not asked, `drivers` which driver files fit."""

    place: Place
    answered: Answered = field(default_factory=Answered)
    note: str = ""
    drivers: tuple[str, ...] = ()


@dataclass(frozen=True)
class Search:
    """All places, in the order of their addresses, and in words what could not be looked for or reached."""

    found: tuple[Found, ...]
    notes: tuple[str, ...] = ()


def search(
    given: Sequence[str] = (),
    *,
    looks_around: bool = True,
    interfaces: Sequence[str] | None = None,
    admit: Admit = lambda _: nullcontext(),
    asker: Asker = ask_who_and_which,
) -> Search:
    """Look for instruments and ask each who it is.

    Args:
        given: addresses to ask besides.
        looks_around: False asks at the given addresses only.
        interfaces: the network interfaces to listen on; all without. With some given, only what announces itself there
            is looked for.
        admit: held while an address is asked; may raise if somebody else works with the instrument.
        asker: asks at an address.
    """
    services: list[Service] = []
    listed = Listed((), ())
    if looks_around:
        with ThreadPoolExecutor(max_workers=2) as pool:
            heard = pool.submit(browse, interfaces=interfaces)
            listing = None if interfaces is not None else pool.submit(visa_list)
            services = heard.result()
            listed = listed if listing is None else listing.result()
    found = ask_all(places(services, listed.addresses, given), admit, asker)
    return Search(tuple(found), (*listed.notes, *_without_address(services)))


def places(services: Iterable[Service], listed: Iterable[str], given: Iterable[str]) -> list[Place]:
    """Each address once, however it was found and written."""
    announced = [(each.address, ANNOUNCED, _in_words(each)) for each in services if each.address is not None]
    every = [*announced, *((each, PLUGGED_IN, "") for each in listed), *((each, GIVEN, "") for each in given)]
    by_address: dict[str, Place] = {}
    for address, how, words in every:
        parsed = parse_address(address)
        place = by_address.get(parsed.canonical, Place(parsed.text, (), "", parsed.interface != "ASRL"))
        by_address[parsed.canonical] = replace(
            place,
            found_by=tuple(dict.fromkeys((*place.found_by, how))),
            announced=place.announced or words,
            asked=place.asked or how == GIVEN,
        )
    return [by_address[canonical] for canonical in sorted(by_address)]


def ask_all(
    every: Sequence[Place], admit: Admit = lambda _: nullcontext(), asker: Asker = ask_who_and_which
) -> list[Found]:
    """Ask at every place; one host's addresses one after another, as many an instrument takes one client at a time.
    This computer itself is no instrument, so its addresses are those of several."""
    hosts: Mapping[str, list[Place]] = _by_host(every)
    with ThreadPoolExecutor(max_workers=_MOST_AT_ONCE) as pool:
        asked = pool.map(lambda group: [_asked(place, admit, asker) for place in group], hosts.values())
        found = {each.place: each for group in asked for each in group}
    return [found[place] for place in every]


def _asked(place: Place, admit: Admit, asker: Asker) -> Found:
    if not place.asked:
        return Found(place, note=NOT_ASKED)
    try:
        with admit(place.address):
            answered = asker(place.address)
    except BenchctlError as error:
        return Found(place, note=str(error))
    if answered.identity is None:
        return Found(place, answered)
    return Found(place, answered, drivers=fitting(shipped_matches(), answered.identity, answered.answers))


def _by_host(every: Iterable[Place]) -> dict[str, list[Place]]:
    groups: defaultdict[str, list[Place]] = defaultdict(list)
    for place in every:
        parsed = parse_address(place.address)
        if isinstance(parsed, NetworkAddress) and not parsed.is_loopback:
            groups[parsed.host].append(place)
        else:
            groups[parsed.canonical].append(place)
    return dict(groups)


def _in_words(service: Service) -> str:
    told = [service.text.get(key, "") for key in ("Manufacturer", "Model", "SerialNumber")]
    return printable(", ".join(filter(None, told)) or service.name, longest=_LONGEST_SHOWN)


def _without_address(services: Sequence[Service]) -> list[str]:
    """Hosts that announce that they are there, but no way to send them a message."""
    reachable = {service.host for service in services if service.address is not None}
    return [
        f"{_in_words(service)} at {service.host} announces itself without a way to send it messages; "
        f"look in its network menu, then give its address, such as TCPIP::{service.host}::5025::SOCKET"
        for service in services
        if service.kind == LXI and service.host not in reachable
    ]
