"""The simulated bench as a whole: one physical bench, an instrument for each role, their sockets."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from types import TracebackType

from benchctl.errors import UsageError
from benchctl.scpi.device.speaker import Speaker
from benchctl.simulator.faults.disturbed import Disturbances
from benchctl.simulator.faults.faults import FaultDesk
from benchctl.simulator.hardware.connections import Connections, Reference
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.generators import forms as generators
from benchctl.simulator.instruments.instrument import Now
from benchctl.simulator.instruments.loads import forms as loads
from benchctl.simulator.instruments.multimeters import forms as multimeters
from benchctl.simulator.instruments.oscilloscopes import forms as oscilloscopes
from benchctl.simulator.instruments.simulated import SimulatedInstrument
from benchctl.simulator.instruments.supplies import forms as supplies
from benchctl.simulator.instruments.thermometers import forms as thermometers
from benchctl.simulator.instruments.vices import SlowDevice, is_slow, take_away
from benchctl.simulator.model.description import BenchDescription
from benchctl.simulator.model.true_errors import TrueErrors
from benchctl.simulator.network.ports import HislipPlace, Places, Vxi11Place
from benchctl.simulator.network.raw_link import RawLink
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
        holds_answers: whether slow instruments answer late; where not, they answer at once, and `owed_s` tells how long
            their clients would have waited. For virtual time, which stands still while a client waits.

    Raises:
        UsageError: the `simulation:` section gives an error for something that this bench does not have.
    """

    def __init__(
        self,
        description: BenchDescription,
        now: Now,
        serials: Mapping[str, str] | None = None,
        *,
        holds_answers: bool = True,
    ) -> None:
        self.seed = description.bench.seed
        self.physical_bench = PhysicalBench(description)
        self.faults = FaultDesk(description, self.physical_bench.connections, now)
        self.instruments = _instruments(self.physical_bench, self.faults.now, description)
        _check_names(self.physical_bench.true_errors)
        for role, serial in (serials or {}).items():
            device = self.instruments[role].device
            device.identity = replace(device.identity, serial=serial)
        simulated = {role: description.simulated(role) for role in self.instruments}
        self._slow: dict[str, SlowDevice] = {}
        self.devices: dict[str, Speaker] = {}
        """what clients speak with, by role"""
        for role, instrument in self.instruments.items():
            take_away(instrument.device, simulated[role])
            self.devices[role] = instrument.device
            if is_slow(simulated[role]):
                slow = SlowDevice(instrument.device, simulated[role], self.faults.now, holds_answers=holds_answers)
                self.devices[role] = self._slow[role] = slow
        disturbed = Disturbances(self.devices, self.faults) if description.bench.faults else None
        raw_links = {
            role: RawLink(each, self.faults.now, is_free_at_once=not holds_answers) for role, each in simulated.items()
        }
        self._server = Server(self.devices, self.physical_bench.lock, raw_links, self.faults.now, disturbed)

    def start(
        self,
        addresses: Mapping[str, Address] | None = None,
        hislip: Mapping[str, HislipPlace] | None = None,
        vxi11: Mapping[str, Vxi11Place] | None = None,
    ) -> dict[str, Address]:
        """Serve each role on a raw socket at its loopback address, or at a free port, and give role -> (host, port).

        A role in `hislip` or `vxi11` answers so as well; `hislip_places` and `vxi11_places` then say where.

        Raises:
            UsageError: an address that is not loopback, or that is taken.
        """
        return self._server.start(Places(addresses or {}, hislip or {}, vxi11 or {}))

    @property
    def hislip_places(self) -> Mapping[str, HislipPlace]:
        """Where roles answer HiSLIP, once started."""
        return self._server.hislip

    @property
    def vxi11_places(self) -> Mapping[str, Vxi11Place]:
        """Where roles answer VXI-11, once started."""
        return self._server.vxi11

    def owed_s(self, role: str) -> float:
        """How long from now the instrument in a role is busy with all that it was sent."""
        slow = self._slow.get(role)
        if slow is None:
            return 0.0
        self.settle()
        with self.physical_bench.lock:
            return slow.owed_s

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

    def touch(self, point: str) -> None:
        """As a hand would: put the multimeter's leads to this point."""
        with self._brought_up_to_now() as connections:
            connections.touched = point

    def refer(self, signal: str, value: float, *, by_plain_lead: bool = False) -> None:
        """As a hand would: put a steady value to the probe of a signal, or to its input by a plain lead."""
        with self._brought_up_to_now() as connections:
            connections.references[signal] = Reference(value, by_plain_lead)

    def series(self, resistor_ohm: float | None) -> None:
        """As a hand would: put a resistor in series with each driven input, or take it out."""
        with self._brought_up_to_now() as connections:
            connections.put_in_series(resistor_ohm)

    def capacitor(self, capacitance_f: float | None) -> None:
        """As a hand would: connect a capacitor beside each load, or take it off."""
        with self._brought_up_to_now() as connections:
            connections.put_beside_loads(capacitance_f)

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


def _instruments(bench: PhysicalBench, now: Now, description: BenchDescription) -> dict[str, SimulatedInstrument]:
    """Each in the form that it speaks."""
    instruments: dict[str, SimulatedInstrument] = {}
    if (generator := description.generator) is not None:
        instruments["generator"] = generators.FORMS[generator.simulated.speaks](bench, now, generator)
    if (oscilloscope := description.oscilloscope) is not None:
        instruments["oscilloscope"] = oscilloscopes.FORMS[oscilloscope.simulated.speaks](bench, now, oscilloscope)
    if (load := description.load) is not None and load.kind == "electronic":
        instruments["load"] = loads.ELECTRONIC[load.simulated.speaks](bench, now, load)
    elif load is not None and load.kind == "relay bank":
        instruments["load"] = loads.RELAY_BANKS[load.simulated.speaks](bench, now, description)
    if (supply := description.supply) is not None:
        instruments["supply"] = supplies.FORMS[supply.simulated.speaks](bench, now, supply)
    if (thermometer := description.thermometer) is not None:
        instruments["thermometer"] = thermometers.FORMS[thermometer.simulated.speaks](bench, now, thermometer)
    if (multimeter := description.multimeter) is not None:
        instruments["multimeter"] = multimeters.FORMS[multimeter.simulated.speaks](bench, now, multimeter)
    return instruments
