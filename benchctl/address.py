"""VISA addresses (VPP-4.3, 4.3.1.1), read in one place: the allowed forms, what an address names, and its standard
spelling.

Uses only the standard library and no network: the guardian and the locks read addresses too.
"""

from __future__ import annotations

import re
import socket
from dataclasses import dataclass

from benchctl.errors import quote

# The port of HiSLIP if an address names none (IVI-6.1).
HISLIP_PORT = 4880
HIGHEST_PORT = 65_535
# IEEE 488.1 has primary addresses 0 to 30; a secondary one is written so too, or as its command, 96 to 126.
_HIGHEST_GPIB = 30
_SECONDARY = (*range(31), *range(96, 127))
_EXAMPLES = {
    "TCPIP": "TCPIP::192.168.1.20::5025::SOCKET",
    "USB": "USB0::0x1234::0x5678::SERIAL::INSTR",
    "GPIB": "GPIB0::7::INSTR",
    "ASRL": "ASRL/dev/ttyUSB0::INSTR",
    "VICP": "VICP::192.168.1.20::INSTR",
}
_INTERFACE = re.compile(r"(TCPIP|USB|GPIB|VICP)([0-9]{0,3})|(ASRL)(.+)", re.IGNORECASE)
_CLASSES = ("INSTR", "SOCKET")
# RFC 1123, 2.1, and the underscore, which some instruments have in their names.
_LABEL = re.compile(r"[A-Za-z0-9_](?:[A-Za-z0-9_-]{0,61}[A-Za-z0-9_])?")
_LONGEST_HOST = 253
_DEVICE = re.compile(r"[A-Za-z][A-Za-z0-9_.-]*(?:,[0-9]+)*")
_NUMERIC_HOST = re.compile(r"[0-9.]+|0[xX][0-9A-Fa-f.xX]*")


class AddressError(ValueError):
    """The text is not an address of an instrument; the message says why and what to write instead."""


@dataclass(frozen=True)
class VisaAddress:
    """A valid address.

    Attributes:
        text: as it was written, with interface and class in capitals, as pyvisa wants them.
        canonical: the same spelling for all addresses of the same place; host names are not looked up.
        interface: TCPIP, USB, GPIB, ASRL or VICP.
    """

    text: str
    canonical: str
    interface: str


@dataclass(frozen=True)
class NetworkAddress(VisaAddress):
    """An instrument on a network."""

    host: str

    @property
    def is_loopback(self) -> bool:
        """Whether it is this computer itself, as far as its spelling tells (RFC 1122, 3.2.1.3; RFC 6761, 6.3)."""
        host = self.host.lower().rstrip(".")
        return host == "localhost" or (bool(_NUMERIC_HOST.fullmatch(host)) and socket.inet_aton(host)[0] == 127)


@dataclass(frozen=True)
class SocketAddress(NetworkAddress):
    """A raw socket: `TCPIP::host::port::SOCKET`."""

    port: int


@dataclass(frozen=True)
class LanAddress(NetworkAddress):
    """A device behind VXI-11 or HiSLIP: `TCPIP::host::inst0::INSTR`, `TCPIP::host::hislip0,4880::INSTR`.

    `hislip_port` is None where it is not HiSLIP. `vxi11_port` is where VXI-11 is to be had without asking the host's
    port mapper: `TCPIP::host,port::inst0::INSTR`, as pyvisa-py writes it.
    """

    device: str
    hislip_port: int | None
    vxi11_port: int | None = None

    @property
    def hislip_name(self) -> str:
        """The device's name without its port."""
        return self.device.partition(",")[0]


def parse_address(text: str) -> VisaAddress:
    """Read a VISA address.

    Raises:
        AddressError: it is not an address, or a part of it is impossible.
    """
    head, *rest = text.strip().split("::")
    found = _INTERFACE.fullmatch(head)
    if not (text.isascii() and text.strip().isprintable()) or found is None or not rest:
        raise AddressError(_no_address(text, head))
    interface = (found[1] or found[3]).upper()
    board = found[4] or str(int(found[2] or 0))
    *parts, last = rest
    if last.upper() not in _CLASSES:  # VPP-4.3: INSTR may be left out
        parts, last = rest, ""
    written = "::".join([interface + head[len(interface) :], *parts, *([last.upper()] if last else [])])
    canonical_head = f"{interface}{board}" if interface != "VICP" else interface
    return _READERS[interface](written, canonical_head, parts, last.upper() or "INSTR")


def _no_address(text: str, head: str) -> str:
    wanted = f"write it like '{_EXAMPLES['TCPIP']}' or '{_EXAMPLES['USB']}'"
    if re.match(r"(?:TCPIP|USB|GPIB|ASRL|VICP)[0-9]*:", head, re.IGNORECASE):
        return f"{quote(text)} has one colon where two belong; {wanted}"
    if re.match(r"(?:VXI|PXI)[0-9]*(?:$|:)", head, re.IGNORECASE):
        return f"{quote(text)} names a card in a frame, which cannot be reached from here; {wanted}"
    return f"{quote(text)} is not a VISA address; {wanted}"


def _fault(text: str, what: str, interface: str) -> AddressError:
    return AddressError(f"{quote(text)}: {what}; write it like '{_EXAMPLES[interface]}'")


def _network(text: str, head: str, parts: list[str], kind: str) -> VisaAddress:
    if parts and parts[0].startswith("["):
        raise _fault(text, "an IPv6 address cannot be used; give the instrument's IPv4 address or its name", "TCPIP")
    if not parts or not parts[0]:
        raise _fault(text, "the host is missing", "TCPIP")
    if kind == "SOCKET":
        return _socket(text, head, _host(text, parts[0]), parts[1:])
    name, comma, port = parts[0].partition(",")
    return _lan(text, head, _host(text, name), parts[1:], _port(text, port) if comma else None)


def _socket(text: str, head: str, host: str, rest: list[str]) -> SocketAddress:
    if len(rest) != 1:
        raise _fault(text, "a host and a port belong before 'SOCKET'" if rest else "the port is missing", "TCPIP")
    port = _port(text, rest[0])
    return SocketAddress(text, f"{head}::{_plain(host)}::{port}::SOCKET", "TCPIP", host, port)


def _lan(text: str, head: str, host: str, rest: list[str], vxi11_port: int | None) -> LanAddress:
    if len(rest) > 1:
        raise _fault(text, "there are too many parts", "TCPIP")
    device = rest[0] if rest else "inst0"
    if device.isdigit():
        raise _fault(text, f"'::SOCKET' is missing behind the port {device}", "TCPIP")
    if not _DEVICE.fullmatch(device):
        raise _fault(text, f"{quote(device)} is not a device of a host, such as inst0 or hislip0,4880", "TCPIP")
    name, _, port = device.lower().partition(",")
    hislip_port = (_port(text, port) if port else HISLIP_PORT) if name.startswith("hislip") else None
    if hislip_port is not None and vxi11_port is not None:
        raise _fault(text, "the port of HiSLIP belongs behind its name, as in hislip0,4880", "TCPIP")
    spelled = device.lower() if hislip_port is None else f"{name},{hislip_port}"
    place = _plain(host) if vxi11_port is None else f"{_plain(host)},{vxi11_port}"
    return LanAddress(text, f"{head}::{place}::{spelled}::INSTR", "TCPIP", host, device, hislip_port, vxi11_port)


def _host(text: str, host: str) -> str:
    """A valid host: an IPv4 address in numbers, or a name."""
    if _NUMERIC_HOST.fullmatch(host):
        try:
            socket.inet_aton(host)
        except OSError:
            what = f"{quote(host)} is not an IPv4 address, which is four numbers from 0 to 255 with points between"
            raise _fault(text, what, "TCPIP") from None
    elif len(host) > _LONGEST_HOST or not all(map(_LABEL.fullmatch, host.removesuffix(".").split("."))):
        raise _fault(text, f"{quote(host)} can be neither a host's IPv4 address nor its name", "TCPIP")
    return host


def _plain(host: str) -> str:
    """The standard spelling: four decimal numbers, or the name in small letters; 'localhost' is 127.0.0.1."""
    if _NUMERIC_HOST.fullmatch(host):
        return socket.inet_ntoa(socket.inet_aton(host))
    name = host.lower().removesuffix(".")
    return "127.0.0.1" if name == "localhost" else name


def _port(text: str, port: str) -> int:
    if not re.fullmatch(r"[0-9]{1,5}", port) or not 1 <= int(port) <= HIGHEST_PORT:
        raise _fault(text, f"{quote(port)} is not a port, which is a number from 1 to {HIGHEST_PORT}", "TCPIP")
    return int(port)


def _vicp(text: str, head: str, parts: list[str], kind: str) -> VisaAddress:
    if len(parts) != 1 or not parts[0] or kind != "INSTR":
        raise _fault(text, "a host belongs between 'VICP' and 'INSTR'", "VICP")
    host = _host(text, parts[0])
    return NetworkAddress(text, f"{head}::{_plain(host)}::INSTR", "VICP", host)


def _usb(text: str, head: str, parts: list[str], kind: str) -> VisaAddress:
    """VPP-4.3: USB[board]::manufacturer ID::model code::serial number[::USB interface number][::INSTR]."""
    if kind != "INSTR" or len(parts) not in (3, 4):
        raise _fault(text, "maker's number, model's number and serial number belong here", "USB")
    maker, model, serial, *interface = parts
    numbers = [_sixteen_bits(text, number) for number in (maker, model)]
    if not re.fullmatch(r"[!-~]+", serial):
        raise _fault(text, "the serial number is missing", "USB")
    if interface and not re.fullmatch(r"[0-9]{1,3}", interface[0]):
        raise _fault(text, f"{quote(interface[0])} is not a number of a USB interface", "USB")
    place = "::".join([*(f"0x{number:04X}" for number in numbers), serial.upper(), str(int((interface or ["0"])[0]))])
    return VisaAddress(text, f"{head}::{place}::INSTR", "USB")


def _sixteen_bits(text: str, written: str) -> int:
    if re.fullmatch(r"0[xX][0-9A-Fa-f]{1,4}", written):
        return int(written, 16)
    if re.fullmatch(r"[0-9]{1,5}", written) and int(written) <= 0xFFFF:
        return int(written)
    raise _fault(text, f"{quote(written)} is not a number from 0x0000 to 0xFFFF", "USB")


def _gpib(text: str, head: str, parts: list[str], kind: str) -> VisaAddress:
    """VPP-4.3: GPIB[board]::primary address[::secondary address][::INSTR]."""
    if kind != "INSTR" or len(parts) not in (1, 2):
        raise _fault(text, "the instrument's number on the bus belongs between 'GPIB' and 'INSTR'", "GPIB")
    primary, *secondary = parts
    if not re.fullmatch(r"[0-9]{1,2}", primary) or int(primary) > _HIGHEST_GPIB:
        raise _fault(text, f"{quote(primary)} is not a number from 0 to {_HIGHEST_GPIB}", "GPIB")
    if secondary and not (re.fullmatch(r"[0-9]{1,3}", secondary[0]) and int(secondary[0]) in _SECONDARY):
        raise _fault(text, f"{quote(secondary[0])} is no secondary address, 0 to 30 or 96 to 126", "GPIB")
    place = "::".join([str(int(primary)), *(str(int(each) % 96) for each in secondary)])
    return VisaAddress(text, f"{head}::{place}::INSTR", "GPIB")


def _serial(text: str, head: str, parts: list[str], kind: str) -> VisaAddress:
    """ASRL[board][::INSTR]; pyvisa-py takes a device in place of the board."""
    if parts or kind != "INSTR" or not re.fullmatch(r"[A-Za-z0-9/\\._-]+", head.removeprefix("ASRL")):
        raise _fault(text, "one serial port belongs between 'ASRL' and '::INSTR'", "ASRL")
    return VisaAddress(text, f"{head}::INSTR", "ASRL")


_READERS = {"TCPIP": _network, "VICP": _vicp, "USB": _usb, "GPIB": _gpib, "ASRL": _serial}
