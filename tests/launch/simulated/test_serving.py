"""Serving a bench file's own addresses, raw sockets and HiSLIP."""

from __future__ import annotations

import socket
from pathlib import Path

import pytest

from benchctl.clock import RealClock
from benchctl.errors import UsageError
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.session import Session
from benchctl.launch.simulated.serving import position_of, served
from benchctl.simulator.network.ports import HislipPlace, Vxi11Place
from tests.cli.files import bench_on_free_ports
from tests.ports import free_port


@pytest.mark.parametrize(
    ("address", "place"),
    [
        ("TCPIP::127.0.0.1::15021::SOCKET", ("127.0.0.1", 15021)),
        ("TCPIP0::127.0.0.2::hislip0::INSTR", HislipPlace("127.0.0.2", 4880, "hislip0")),
        ("TCPIP::127.0.0.1::hislip3,4881::INSTR", HislipPlace("127.0.0.1", 4881, "hislip3")),
        ("TCPIP::127.0.0.1::HiSLIP0,4880::INSTR", HislipPlace("127.0.0.1", 4880, "HiSLIP0")),
        ("TCPIP::127.0.0.1,15030::inst0::INSTR", Vxi11Place("127.0.0.1", 15030, "inst0")),
    ],
)
def test_an_address_says_where_to_listen(address: str, place: object) -> None:
    assert position_of("supply", address) == place


@pytest.mark.parametrize(
    "address", ["TCPIP::127.0.0.1::inst0::INSTR", "TCPIP::127.0.0.1::hislip0,x::INSTR", "GPIB0::7::INSTR", "supply"]
)
def test_what_cannot_be_served_is_refused_with_the_forms_that_can(address: str) -> None:
    with pytest.raises(
        UsageError, match=r"the supply's address .*::SOCKET, TCPIP.*hislip0,4880::INSTR or TCPIP.*inst0::INSTR"
    ):
        position_of("supply", address)


def test_instruments_of_a_bench_file_are_reached_at_its_hislip_addresses_and_on_raw_sockets(tmp_path: Path) -> None:
    """Two of them share a HiSLIP port, told apart by their names there."""
    port = free_port()
    file = bench_on_free_ports(tmp_path)
    text = file.read_text()
    for role, name in (("supply", "hislip0"), ("load", "hislip1")):
        begin = text.index("address: ", text.index(f"  {role}:\n")) + len("address: ")
        text = text[:begin] + f"TCPIP::127.0.0.1::{name},{port}::INSTR" + text[text.index("\n", begin) :]
    file.write_text(text)
    with served(file, "hx2150") as instruments:
        assert [instruments[role].hislip for role in ("supply", "load", "generator")] == [
            ("127.0.0.1", port),
            ("127.0.0.1", port),
            None,
        ]
        for role, each in instruments.items():
            session = Session(role, each.address, Interlock(RealClock()), timeout_s=10.0)
            identity = session.open()
            session.close()
            with socket.create_connection(each.socket, timeout=10) as link:
                link.sendall(b"*IDN?\n")
                assert link.makefile().readline().strip() == identity
