"""VISA addresses: what may be written (VPP-4.3, 4.3.1.1), and that each has one spelling.

pyvisa's own reader of resource names is the other road: what is accepted here it must accept too.
"""

from __future__ import annotations

import pytest
from pyvisa.rname import ResourceName

from benchctl.address import AddressError, LanAddress, NetworkAddress, SocketAddress, parse_address

SPELLINGS = [
    ("TCPIP::192.0.2.7::5025::SOCKET", "TCPIP0::192.0.2.7::5025::SOCKET"),
    ("tcpip0::Supply.Local.::05025::socket", "TCPIP0::supply.local::5025::SOCKET"),
    ("TCPIP1::localhost::5025::SOCKET", "TCPIP1::127.0.0.1::5025::SOCKET"),
    ("TCPIP::127.1::5025::SOCKET", "TCPIP0::127.0.0.1::5025::SOCKET"),
    ("TCPIP::192.0.2.7", "TCPIP0::192.0.2.7::inst0::INSTR"),
    ("TCPIP::192.0.2.7::gpib0,5::INSTR", "TCPIP0::192.0.2.7::gpib0,5::INSTR"),
    ("TCPIP::192.0.2.7::HiSLIP0::INSTR", "TCPIP0::192.0.2.7::hislip0,4880::INSTR"),
    ("TCPIP::192.0.2.7::hislip0,4881::INSTR", "TCPIP0::192.0.2.7::hislip0,4881::INSTR"),
    ("TCPIP::192.0.2.7,1024::inst0::INSTR", "TCPIP0::192.0.2.7,1024::inst0::INSTR"),
    ("TCPIP::localhost,1024::INST0", "TCPIP0::127.0.0.1,1024::inst0::INSTR"),
    ("USB::0x1ab1::0x0e11::DP8A0001", "USB0::0x1AB1::0x0E11::DP8A0001::0::INSTR"),
    ("USB0::6833::0x0E11::DP8A0001::0::INSTR", "USB0::0x1AB1::0x0E11::DP8A0001::0::INSTR"),
    ("GPIB::7", "GPIB0::7::INSTR"),
    ("GPIB0::7::96::INSTR", "GPIB0::7::0::INSTR"),
    ("ASRL3::INSTR", "ASRL3::INSTR"),
    ("ASRL/dev/ttyUSB0::INSTR", "ASRL/dev/ttyUSB0::INSTR"),
    ("VICP::192.0.2.7::INSTR", "VICP::192.0.2.7::INSTR"),
]


@pytest.mark.parametrize(("written", "canonical"), SPELLINGS)
def test_an_address_has_one_spelling_and_pyvisa_reads_it_as_it_was_written(written: str, canonical: str) -> None:
    address = parse_address(written)
    assert address.canonical == canonical
    assert parse_address(canonical).canonical == canonical
    assert ResourceName.from_string(address.text).interface_type == address.interface


@pytest.mark.parametrize(
    ("written", "why"),
    [
        ("TCPIP:192.0.2.7::5025::SOCKET", "has one colon where two belong"),
        ("TCPIP::192.0.2.7:5025::SOCKET", "can be neither"),
        ("TCPIP::192.0.2.7::5025:SOCKET", "not a device of a host"),
        ("192.0.2.7:5025", "not a VISA address"),
        ("TCPIP", "not a VISA address"),
        ("TCPIP::192.0.2.7::scpi::SOCKET", "'scpi' is not a port, which is a number from 1 to 65535"),
        ("TCPIP::192.0.2.7::0::SOCKET", "'0' is not a port"),
        ("TCPIP::192.0.2.7::70000::SOCKET", "'70000' is not a port"),
        ("TCPIP::192.0.2.7::-5025::SOCKET", "'-5025' is not a port"),
        ("TCPIP::192.0.2.7::::SOCKET", "'' is not a port"),
        ("TCPIP::192.0.2.7::SOCKET", "the port is missing"),
        ("TCPIP::192.0.2.7::5025", "'::SOCKET' is missing behind the port 5025"),
        ("TCPIP::::5025::SOCKET", "the host is missing"),
        ("TCPIP::SOCKET", "the host is missing"),
        ("TCPIP::INSTR", "the host is missing"),
        ("TCPIP::192.0.2.300::5025::SOCKET", "'192.0.2.300' is not an IPv4 address"),
        ("TCPIP::192.0.2.7.1::5025::SOCKET", "not an IPv4 address"),
        ("TCPIP::my supply::5025::SOCKET", "can be neither"),
        ("TCPIP::-supply::5025::SOCKET", "can be neither"),
        ("TCPIP::../../etc/passwd::1::SOCKET", "can be neither"),
        ("TCPIP::[2001:db8::7]::5025::SOCKET", "an IPv6 address cannot be used"),
        ("TCPIP::192.0.2.7::hislip0,x::INSTR", "not a device of a host"),
        ("TCPIP::192.0.2.7::hislip0,70000::INSTR", "'70000' is not a port"),
        ("TCPIP::192.0.2.7,x::inst0::INSTR", "'x' is not a port"),
        ("TCPIP::192.0.2.7,4880::hislip0::INSTR", "belongs behind its name"),
        ("TCPIP::192.0.2.7::a::b::INSTR", "too many parts"),
        ("USB0::0x1234::INSTR", "serial number belong here"),
        ("USB0::0x12345::0x5678::A::INSTR", "'0x12345' is not a number from 0x0000 to 0xFFFF"),
        ("USB0::0x1234::0x5678::::INSTR", "the serial number is missing"),
        ("GPIB0::31::INSTR", "'31' is not a number from 0 to 30"),
        ("GPIB0::INSTR", "number on the bus belongs"),
        ("GPIB0::7::40::INSTR", "no secondary address"),
        ("ASRL::INSTR", "not a VISA address"),
        ("ASRL/dev/tty USB0::INSTR", "one serial port belongs"),
        ("VXI0::1::INSTR", "a card in a frame"),
        ("TCPIP::192.0.2.\u0667::5025::SOCKET", "not a VISA address"),
        ("TCPIP::192.0.2.7::5025::SOCKET\x1b[2J", "not a VISA address"),
        ("", "not a VISA address"),
    ],
)
def test_an_address_that_cannot_be_is_refused_with_one_that_can(written: str, why: str) -> None:
    with pytest.raises(AddressError) as refused:
        parse_address(written)
    assert why in str(refused.value)
    assert "; write it like '" in str(refused.value)
    assert str(refused.value).isprintable()


def test_a_socket_names_host_and_port_and_a_hislip_device_its_port() -> None:
    raw, lan = parse_address("TCPIP::supply::5025::SOCKET"), parse_address("TCPIP::scope::hislip3,4881::INSTR")
    assert isinstance(raw, SocketAddress)
    assert (raw.host, raw.port) == ("supply", 5025)
    assert isinstance(lan, LanAddress)
    assert (lan.host, lan.hislip_name, lan.hislip_port) == ("scope", "hislip3", 4881)


@pytest.mark.parametrize(
    ("host", "is_loopback"),
    [("127.0.0.1", True), ("127.9.9.9", True), ("LOCALHOST", True), ("192.0.2.7", False), ("127.example", False)],
)
def test_loopback_is_told_by_number_or_name(host: str, is_loopback: bool) -> None:
    address = parse_address(f"TCPIP::{host}::5025::SOCKET")
    assert isinstance(address, NetworkAddress)
    assert address.is_loopback is is_loopback
