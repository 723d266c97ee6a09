"""The names of an instrument's locks: one name for each way to it, however the address is written.

One instrument may have several ways to it: ports, VXI-11 and HiSLIP, a network beside USB. Behind one gateway there may
be several instruments. So the way is locked, not the host. If the instrument tells its serial number, it is also locked
by that number, which is the same by every way.

This module uses the standard library only: the guardian holds these locks too.
"""

from __future__ import annotations

import hashlib
import os
import re
import socket
from collections.abc import Iterator

from benchctl.address import AddressError, LanAddress, NetworkAddress, SocketAddress, VisaAddress, parse_address

# A whole *IDN? has four fields, the third of them the serial number (IEEE 488.2, 10.14.3).
_IDN_FIELDS = 4
_LONGEST_READABLE = 100
# A link to no host in particular goes to this computer (Linux; RFC 1122, 3.2.1.3 has it as a source only).
_NO_HOST = {"0.0.0.0": "127.0.0.1", "::": "::1"}
_IPV4_IN_IPV6 = "::ffff:"


def names_of_address(address: str) -> set[str]:
    """The names for where this address leads. There are several if a host name stands for several addresses."""
    try:
        parsed = parse_address(address)
    except AddressError:  # cannot be opened either
        return {address.strip().upper()}
    return set(_doors(parsed))


def names_of_identity(identity: str) -> set[str]:
    """The identity in an answer to *IDN?; nothing if there is no serial number in it.

    IEEE 488.2, 10.14.3: 0 stands for a serial number that is not available.
    """
    fields = [field.strip().upper() for field in identity.split(",")]
    if len(fields) < _IDN_FIELDS or not fields[2].strip("0"):
        return set()
    return {f"IDN::{','.join(fields[:3])}"}


def file_name(name: str) -> str:
    """A file's name for a lock's name: readable, and never the same for two."""
    readable = re.sub(r"[^A-Za-z0-9.]+", "-", name)[:_LONGEST_READABLE].strip("-.")
    return f"{readable}-{hashlib.sha256(name.encode()).hexdigest()[:12]}.lock"


def _doors(parsed: VisaAddress) -> Iterator[str]:
    """VPP-4.3, 4.3.1.1. The number of the board chooses a bus for GPIB alone; to find a host or a USB instrument, its
    own numbers are enough."""
    match parsed:
        case SocketAddress(port=port):
            yield from (f"TCPIP::{host}::{port}::SOCKET" for host in _hosts(parsed))
        case LanAddress(hislip_port=None, vxi11_port=port):
            # Without a port, the host's port mapper names one: there is one such instrument of this name on the host.
            door = "" if port is None else f",{port}"
            yield from (f"TCPIP::{host}{door}::{parsed.device.lower()}::INSTR" for host in _hosts(parsed))
        case LanAddress(hislip_port=port):
            yield from (f"TCPIP::{host}::{parsed.hislip_name.lower()},{port}::INSTR" for host in _hosts(parsed))
        case NetworkAddress(interface=interface):
            yield from (f"{interface}::{host}::INSTR" for host in _hosts(parsed))
        case VisaAddress(interface="USB", canonical=canonical):
            _, maker, model, serial, *_ = canonical.split("::")
            yield f"USB::{maker}::{model}::{serial}::INSTR"
        case VisaAddress(interface="ASRL", canonical=canonical):
            yield f"ASRL{_port_behind(canonical.removeprefix('ASRL').removesuffix('::INSTR'))}::INSTR"
        case _:
            yield parsed.canonical


def _hosts(parsed: NetworkAddress) -> set[str]:
    """Every address that the host has; its name, where it has none: then a link cannot be opened either."""
    try:
        found = socket.getaddrinfo(parsed.host, None, type=socket.SOCK_STREAM)
    except (OSError, ValueError):
        return {parsed.canonical.split("::")[1]}
    numbers = {str(place[0]).removeprefix(_IPV4_IN_IPV6) for *_, place in found}
    return {_NO_HOST.get(number, number) for number in numbers}


def _port_behind(device: str) -> str:
    """A serial port may have several names, all but one of them links (/dev/serial/by-id)."""
    return os.path.realpath(device) if device.startswith("/") else device
