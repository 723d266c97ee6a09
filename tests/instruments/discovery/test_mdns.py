"""Announced services are found with where they are; on loopback only, so that no network hears of the tests."""

from __future__ import annotations

import socket

from benchctl.instruments.discovery.mdns import HISLIP, LXI, RAW, Service, browse
from benchctl.scpi.device.device import Identity
from benchctl.simulator.network.announce import Announcement, announced
from benchctl.simulator.network.ports import HislipPlace
from tests.ports import free_ports

LOOPBACK = [name for _, name in socket.if_nameindex() if name.startswith("lo")]
RAW_PORT, HISLIP_PORT = free_ports(2)  # a name on the network holds the port, so that no other test has the same
LOAD = Announcement(
    Identity("benchctl", f"DECK-LOAD-{RAW_PORT}", "9", "1.0"),
    ("127.0.0.2", RAW_PORT),
    HislipPlace("127.0.0.2", HISLIP_PORT),
)


def test_what_is_announced_is_found_with_its_addresses() -> None:
    with announced([LOAD]):
        heard = [service for service in browse(interfaces=LOOPBACK) if service.text.get("Model") == LOAD.identity.model]
    assert {service.kind: service.address for service in heard} == {
        RAW: f"TCPIP::127.0.0.2::{RAW_PORT}::SOCKET",
        HISLIP: f"TCPIP::127.0.0.2::hislip0,{HISLIP_PORT}::INSTR",
        LXI: None,
    }


def test_without_an_interface_nothing_is_heard_and_nothing_fails() -> None:
    assert browse(0.0, interfaces=[]) == []


def test_a_page_takes_no_messages() -> None:
    assert Service("deck", LXI, "192.0.2.7", 80).address is None
