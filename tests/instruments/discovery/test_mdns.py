"""Announced services are found with where they are; on loopback only, so that no network hears of the tests."""

from __future__ import annotations

import socket

from benchctl.instruments.discovery.mdns import HISLIP, LXI, RAW, Service, browse
from benchctl.scpi.device.device import Identity
from benchctl.simulator.network.announce import Announcement, announced
from benchctl.simulator.network.ports import HislipPlace

LOOPBACK = [name for _, name in socket.if_nameindex() if name.startswith("lo")]
LOAD = Announcement(
    Identity("benchctl", "DECK-LOAD", "9", "1.0"), ("127.0.0.2", 15923), HislipPlace("127.0.0.2", 14980)
)


def test_what_is_announced_is_found_with_its_addresses() -> None:
    with announced([LOAD]):
        heard = [service for service in browse(interfaces=LOOPBACK) if service.text.get("Model") == "DECK-LOAD"]
    assert {service.kind: service.address for service in heard} == {
        RAW: "TCPIP::127.0.0.2::15923::SOCKET",
        HISLIP: "TCPIP::127.0.0.2::hislip0,14980::INSTR",
        LXI: None,
    }


def test_without_an_interface_nothing_is_heard_and_nothing_fails() -> None:
    assert browse(0.0, interfaces=[]) == []


def test_a_page_takes_no_messages() -> None:
    assert Service("deck", LXI, "192.0.2.7", 80).address is None
