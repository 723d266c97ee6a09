"""The guardian's wire to an instrument that takes one client at a time, and the next only after a while."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import closing

import pytest

from benchctl.clock import RealClock
from benchctl.documents.bench_file.simulated_instruments import SupplySimulation
from benchctl.errors import InstrumentError
from benchctl.guard.guardian.wires import GuardianWire
from benchctl.instruments.links.settings import LinkSettings
from benchctl.simulator.bench import SimulatedBench
from benchctl.simulator.model.description import SupplyDescription, SupplyOutputDescription
from tests.simulator.benches import describe

FREE_AGAIN_S = 0.4


@pytest.fixture
def place() -> Iterator[tuple[str, int]]:
    outputs = (SupplyOutputDescription("main", 1, 20.0, 120.0), SupplyOutputDescription("remote", 2, 20.0, 1.0))
    vices = SupplySimulation(clients="one", free_again_after_s=FREE_AGAIN_S)
    description = describe(supply=SupplyDescription(outputs, simulated=vices))
    with SimulatedBench(description, RealClock().now) as bench:
        yield bench.start()["supply"]


def use_as_the_run_does(place: tuple[str, int]) -> None:
    """A link that is used and ends, as the run's does when its process is killed."""
    with closing(socket.create_connection(place, timeout=10.0)) as link:
        link.sendall(b"INST:NSEL 1;:OUTP ON;:OUTP?\n")
        assert link.recv(100) == b"1\n"


def wire_to(place: tuple[str, int], settings: LinkSettings) -> GuardianWire:
    host, port = place
    return GuardianWire(f"TCPIP::{host}::{port}::SOCKET", settings)


def test_it_gets_through_as_soon_as_the_instrument_is_free(place: tuple[str, int]) -> None:
    use_as_the_run_does(place)
    wire = wire_to(place, LinkSettings(clients="one", reopen_after_s=2 * FREE_AGAIN_S))
    assert wire.ask_urgently("INST:NSEL 1;:OUTP OFF;:OUTP?") == "0"
    wire.close()


def test_without_being_told_of_the_wait_it_says_that_it_failed(place: tuple[str, int]) -> None:
    """Its caller tries again a second later."""
    use_as_the_run_does(place)
    wire = wire_to(place, LinkSettings())
    with pytest.raises(InstrumentError):
        wire.ask_urgently("INST:NSEL 1;:OUTP OFF;:OUTP?")
    wire.close()
