"""Announce simulated instruments by multicast DNS as LAN instruments announce themselves, but on loopback only.

Service types and the keys of their text are those of LXI device discovery. Needs the package zeroconf, which joins the
multicast group and sends on loopback only; its one listening socket is bound to the mDNS port of every interface, as
mDNS requires; questions from other interfaces are not answered there.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchctl.errors import UsageError
from benchctl.scpi.device.device import Identity
from benchctl.simulator.network.ports import HislipPlace
from benchctl.simulator.network.sockets import Address

if TYPE_CHECKING:
    from zeroconf import ServiceInfo

LOOPBACK = "127.0.0.1"

RAW, HISLIP, LXI = "_scpi-raw._tcp.local.", "_hislip._tcp.local.", "_lxi._tcp.local."

NO_PAGE = 0
"""The port of the LXI service is that of a web page. There is no web page here, which port 0 says (RFC 6763, 8)."""


@dataclass(frozen=True)
class Announcement:
    """One instrument: who it is, and where it answers."""

    identity: Identity
    raw: Address
    hislip: HislipPlace | None = None


@contextmanager
def announced(instruments: Sequence[Announcement]) -> Iterator[None]:
    """Keep the instruments announced for as long as the block lasts.

    Raises:
        UsageError: zeroconf is not installed, or the loopback interface does not do multicast.
    """
    try:
        from zeroconf import IPVersion, Zeroconf  # noqa: PLC0415 - optional, and slow to import
    except ImportError as error:
        raise UsageError(
            "announcing needs the package zeroconf", advice="Install it with: pip install 'benchctl[mdns]'"
        ) from error
    try:
        speaker = Zeroconf(interfaces=[LOOPBACK], ip_version=IPVersion.V4Only)
    except OSError as error:
        raise UsageError(f"nothing can be announced on {LOOPBACK}: {error.strerror or error}") from error
    try:
        services = [service for instrument in instruments for service in services_of(instrument)]
        # Each asks for a second and a half whether its name is free, so they ask side by side.
        with ThreadPoolExecutor(max_workers=max(1, len(services))) as pool:
            list(pool.map(speaker.register_service, services))
        yield
    finally:
        speaker.close()  # says good-bye for every service


def services_of(instrument: Announcement) -> list[ServiceInfo]:
    """What is announced of one instrument."""
    host, port = instrument.raw
    services = [_service(RAW, instrument, host, port), _service(LXI, instrument, host, NO_PAGE)]
    if instrument.hislip is not None:
        services.append(_service(HISLIP, instrument, instrument.hislip.host, instrument.hislip.port))
    return services


def _service(kind: str, instrument: Announcement, host: str, port: int) -> ServiceInfo:
    from zeroconf import ServiceInfo  # noqa: PLC0415 - optional

    identity, own_port = instrument.identity, instrument.raw[1]
    return ServiceInfo(
        kind,
        # The port makes the name unique on this machine, even with several simulated benches.
        f"{identity.maker} {identity.model} at {own_port}.{kind}",
        port=port,
        parsed_addresses=[LOOPBACK if host == "localhost" else host],
        server=f"{identity.maker}-{own_port}.local.",
        properties={
            "txtvers": "1",
            "Manufacturer": identity.maker,
            "Model": identity.model,
            "SerialNumber": identity.serial,
            "FirmwareVersion": identity.firmware,
        },
    )
