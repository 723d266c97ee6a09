"""Announcements: found by a browser that listens on loopback, and gone when the simulation ends."""

from __future__ import annotations

import builtins
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from zeroconf import IPVersion, ServiceBrowser, ServiceListener, Zeroconf

from benchctl.errors import UsageError
from benchctl.scpi.device.device import Identity
from benchctl.simulator.network.announce import HISLIP, LXI, RAW, Announcement, announced, services_of
from benchctl.simulator.network.ports import HislipPlace

# Limit for a browser that finds nothing; finding takes a second or two.
PATIENCE_S = 30.0

SUPPLY = Announcement(Identity("benchctl", "SIM-SUPPLY", "SIM1", "1.0"), ("127.0.0.1", 15024))
LOAD = Announcement(
    Identity("benchctl", "SIM-LOAD", "SIM1", "1.0"), ("127.0.0.2", 15023), HislipPlace("127.0.0.2", 14880)
)


class Ear(ServiceListener):
    """Notices when all expected services have come and gone; others may be simulated at the same time."""

    def __init__(self, expected: set[str]) -> None:
        self.there: set[str] = set()
        self.all_came, self.all_went = threading.Event(), threading.Event()
        self._expected = expected

    def add_service(self, zc: Zeroconf, type_: str, name: str) -> None:
        self.there.add(name)
        if self._expected <= self.there:
            self.all_came.set()

    def update_service(self, zc: Zeroconf, type_: str, name: str) -> None:
        pass

    def remove_service(self, zc: Zeroconf, type_: str, name: str) -> None:
        self.there.discard(name)
        if not self._expected & self.there:
            self.all_went.set()


@contextmanager
def browsing(kinds: list[str], ear: Ear) -> Iterator[Zeroconf]:
    """A browser that listens and sends only on loopback."""
    listener = Zeroconf(interfaces=["127.0.0.1"], ip_version=IPVersion.V4Only)
    browser = ServiceBrowser(listener, kinds, listener=ear)
    try:
        yield listener
    finally:
        browser.cancel()
        listener.close()


def test_what_is_announced_is_found_on_loopback_and_takes_its_leave() -> None:
    """Raw socket and LXI of both instruments, HiSLIP of the one that has it."""
    ear = Ear({service.name for service in services_of(SUPPLY) + services_of(LOAD)})
    with browsing([RAW, HISLIP, LXI], ear) as listener:
        with announced([SUPPLY, LOAD]):
            assert ear.all_came.wait(PATIENCE_S), ear.there
            found = listener.get_service_info(HISLIP, f"benchctl SIM-LOAD at 15023.{HISLIP}", timeout=10_000)
            assert found is not None
            assert (found.parsed_addresses(), found.port) == (["127.0.0.2"], 14880)
        assert ear.all_went.wait(PATIENCE_S), ear.there


def test_each_instrument_has_a_server_name_and_a_full_text_of_its_own() -> None:
    """LXI device discovery: txtvers 1, and no value empty, which some clients cannot read."""
    services = services_of(SUPPLY) + services_of(LOAD)
    assert {service.server for service in services} == {"benchctl-15024.local.", "benchctl-15023.local."}
    for service in services:
        text: dict[Any, Any] = service.decoded_properties
        assert set(text) == {"txtvers", "Manufacturer", "Model", "SerialNumber", "FirmwareVersion"}
        assert text["txtvers"] == "1"
        assert all(text.values())


def test_the_port_of_the_raw_socket_is_told_and_no_web_page_is_claimed() -> None:
    ports = {service.type: service.port for service in services_of(LOAD)}
    assert ports == {RAW: 15023, HISLIP: 14880, LXI: 0}


def test_without_the_package_it_is_said_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    real_import = builtins.__import__

    def without_zeroconf(name: str, *arguments: Any, **options: Any) -> Any:
        if name == "zeroconf":
            raise ImportError(name)
        return real_import(name, *arguments, **options)

    monkeypatch.setattr(builtins, "__import__", without_zeroconf)
    with pytest.raises(UsageError, match="zeroconf") as caught, announced([SUPPLY]):
        pass
    assert "benchctl[mdns]" in caught.value.advice
