"""benchctl simulate: simulated instruments at the bench file's own loopback addresses until Ctrl-C."""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from zeroconf import IPVersion, ServiceBrowser, ServiceListener, Zeroconf

from tests.cli.conftest import Command
from tests.cli.files import bench, bench_on_free_ports
from tests.faults.forking import begin
from tests.ports import free_port, free_ports

ROLES = ["generator", "oscilloscope", "load", "supply", "thermometer"]


@contextmanager
def simulating(bench_file: Path, *options: str) -> Iterator[tuple[subprocess.Popen[str], Any]]:
    """The command in a process of its own, and the line that it prints once it is ready."""
    process = begin(["simulate", str(bench_file), "--amplifier", "hx2150", "--json", *options], stdout=subprocess.PIPE)
    try:
        assert process.stdout is not None
        yield process, json.loads(process.stdout.readline())
    finally:
        process.kill()
        process.communicate()


def test_one_line_of_json_tells_where_each_instrument_listens(tmp_path: Path) -> None:
    file = bench_on_free_ports(tmp_path)
    with simulating(file) as (process, line):
        assert list(line["instruments"]) == ROLES
        for role, place in line["instruments"].items():
            host, port = place["socket"]
            assert place["address"] == f"TCPIP::{host}::{port}::SOCKET"
            with socket.create_connection((host, port), timeout=10) as link:
                link.sendall(b"*IDN?\n")
                assert link.recv(1000).count(b",") == 3, f"{role} says who it is as IEEE 488.2, 10.14 asks"
        process.send_signal(signal.SIGINT)
        assert process.wait(timeout=20) == 0


def test_hislip_addresses_are_served_and_announced(tmp_path: Path) -> None:
    """The instrument is found on loopback, and has a raw socket beside."""
    port = free_port()
    file = bench(tmp_path, ("TCPIP::127.0.0.1::15024::SOCKET", f"TCPIP::127.0.0.1::hislip0,{port}::INSTR"))
    text = file.read_text()
    for role, free in zip((15021, 15022, 15023, 15025), free_ports(4), strict=True):
        text = text.replace(f"::{role}::", f"::{free}::")
    file.write_text(text)
    came = threading.Event()

    class Ear(ServiceListener):
        def add_service(self, zc: Zeroconf, type_: str, name: str) -> None:
            found = zc.get_service_info(type_, name, timeout=10_000)
            if found is not None and found.port == port:
                came.set()

        def update_service(self, zc: Zeroconf, type_: str, name: str) -> None:
            pass

        def remove_service(self, zc: Zeroconf, type_: str, name: str) -> None:
            pass

    listener = Zeroconf(interfaces=["127.0.0.1"], ip_version=IPVersion.V4Only)
    browser = ServiceBrowser(listener, "_hislip._tcp.local.", listener=Ear())
    try:
        with simulating(file, "--announce") as (_, line):
            assert line["instruments"]["supply"]["hislip"] == ["127.0.0.1", port]
            assert line["instruments"]["supply"]["socket"][1] != port
            assert "hislip" not in line["instruments"]["load"]
            assert came.wait(30.0)
    finally:
        browser.cancel()
        listener.close()


def test_a_place_that_is_taken_is_named(benchctl: Command, tmp_path: Path) -> None:
    file = bench_on_free_ports(tmp_path)
    with simulating(file) as (_, line):
        _, port = line["instruments"]["generator"]["socket"]
        ended = benchctl("simulate", file, "--amplifier", "hx2150")
    assert ended.exit_code == 2
    assert str(port) in ended.err


@pytest.mark.parametrize(
    "address", ["TCPIP::192.0.2.7::5025::SOCKET", "GPIB0::7::INSTR", "USB0::0x1234::0x5678::SN1::INSTR"]
)
def test_only_a_loopback_socket_can_be_served(benchctl: Command, tmp_path: Path, address: str) -> None:
    file = bench(tmp_path, ("TCPIP::127.0.0.1::15024::SOCKET", address))
    ended = benchctl("simulate", file, "--amplifier", "hx2150")
    assert ended.exit_code == 2
    assert "supply" in ended.err or "loopback" in ended.err
