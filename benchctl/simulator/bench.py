"""The simulated bench as a whole: one physical bench, an instrument for each role, their sockets."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from types import TracebackType
from typing import Any

from benchctl.errors import UsageError
from benchctl.simulator.faults.disturbed import Disturbances
from benchctl.simulator.faults.faults import FaultDesk
from benchctl.simulator.hardware.connections import Connections
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.generators.generator import SimulatedGenerator
from benchctl.simulator.instruments.instrument import Instrument, Now
from benchctl.simulator.instruments.loads.load import SimulatedElectronicLoad, SimulatedRelayBank
from benchctl.simulator.instruments.oscilloscopes.oscilloscope import SimulatedOscilloscope
from benchctl.simulator.instruments.supplies.supply import SimulatedSupply
from benchctl.simulator.instruments.thermometers.thermometer import SimulatedThermometer
from benchctl.simulator.model.description import BenchDescription
from benchctl.simulator.model.true_errors import TrueErrors
from benchctl.simulator.network.ports import HislipPlace
from benchctl.simulator.network.server import Server
from benchctl.simulator.network.sockets import Address


class SimulatedBench:
    """Instruments that a client cannot tell from real ones, around one simulated amplifier.

    `now` gives seconds since the start, real or virtual; nothing here sleeps or reads another clock. With virtual time
    a client must poll for the end of an acquisition: while it waits for *OPC? its time stands still.

    Args:
        description: what there is.
        now: the time.
        serials: serial numbers by role, for *IDN?; without one, the bench's seed is the serial number.

    Raises:
        UsageError: the `simulation:` section gives an error for something that this bench does not have.
    """

    def __init__(self, description: BenchDescription, now: Now, serials: Mapping[str, str] | None = None) -> None:
        self.seed = description.bench.seed
        self.physical_bench = PhysicalBench(description)
        self.faults = FaultDesk(description, self.physical_bench.connections, now)
        self.instruments = _instruments(self.physical_bench, self.faults.now, description)
        _check_names(self.physical_bench.true_errors)
        for role, serial in (serials or {}).items():
            device = self.instruments[role].device
            device.identity = replace(device.identity, serial=serial)
        devices = {role: instrument.device for role, instrument in self.instruments.items()}
        disturbed = Disturbances(devices, self.faults) if description.bench.faults else None
        self._server = Server(devices, self.physical_bench.lock, disturbed)

    def start(
        self, addresses: Mapping[str, Address] | None = None, hislip: Mapping[str, HislipPlace] | None = None
    ) -> dict[str, Address]:
        """Serve each role on a raw socket at its loopback address, or at a free port, and give role -> (host, port).

        A role in `hislip` answers HiSLIP as well; `hislip_places` then says where.

        Raises:
            UsageError: an address that is not loopback, or that is taken.
        """
        return self._server.start(addresses, hislip)

    @property
    def hislip_places(self) -> Mapping[str, HislipPlace]:
        """Where roles answer HiSLIP, once started."""
        return self._server.hislip

    def plug(self, channels: Sequence[str]) -> None:
        """As a hand would: the generator into these inputs of the amplifier, and a shorting plug into every other."""
        with self._brought_up_to_now() as connections:
            connections.plug(channels)

    def turn(self, factors: Mapping[str, float]) -> None:
        """As a hand would: each channel's gain control, so that its gain is multiplied by this factor."""
        with self._brought_up_to_now() as connections:
            for channel, factor in factors.items():
                connections.turn(channel, factor)

    def load(self, nominal_ohm: float | None) -> None:
        """As a hand would: connect the resistors of this value to the outputs, or none."""
        with self._brought_up_to_now() as connections:
            connections.loads.connect_by_hand(nominal_ohm)

    def probe(self, channels: Sequence[str]) -> None:
        """As a hand would: connect the probes to these outputs."""
        with self._brought_up_to_now() as connections:
            connections.probe(channels)

    @contextmanager
    def _brought_up_to_now(self) -> Iterator[Connections]:
        """Inside the block, everything that clients have sent is done, and nothing more is done meanwhile."""
        self.settle()
        with self.physical_bench.lock:
            self.physical_bench.advance(self.faults.now())
            yield self.physical_bench.connections

    def settle(self) -> None:
        """Wait until everything that clients have sent is done; a virtual clock must call this before it jumps."""
        self._server.settle()

    def close(self) -> None:
        """Close every socket; may be called more than once."""
        self._server.close()

    def __enter__(self) -> SimulatedBench:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def _check_names(true_errors: TrueErrors) -> None:
    if true_errors.unknown:
        known = ", ".join(true_errors.known)
        raise UsageError(f"simulation: no error is called '{true_errors.unknown[0]}' on this bench; there are {known}")


def _instruments(physical_bench: PhysicalBench, now: Now, description: BenchDescription) -> dict[str, Instrument[Any]]:
    instruments: dict[str, Instrument[Any]] = {}
    if description.generator is not None:
        instruments["generator"] = SimulatedGenerator(physical_bench, now, description.generator)
    if description.oscilloscope is not None:
        instruments["oscilloscope"] = SimulatedOscilloscope(physical_bench, now, description.oscilloscope)
    if description.load is not None and description.load.kind == "electronic":
        instruments["load"] = SimulatedElectronicLoad(physical_bench, now, description.load)
    elif description.load is not None and description.load.kind == "relay bank":
        instruments["load"] = SimulatedRelayBank(physical_bench, now, description)
    if description.supply is not None:
        instruments["supply"] = SimulatedSupply(physical_bench, now, description.supply)
    if description.thermometer is not None:
        instruments["thermometer"] = SimulatedThermometer(physical_bench, now, description.thermometer)
    return instruments
