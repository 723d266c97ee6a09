"""The open bench: every instrument of a bench file in its role."""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Callable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from functools import partial
from types import TracebackType
from typing import TypeVar

from benchctl.documents.bench_file import bench as document
from benchctl.documents.bench_file.bench import InputsByGenerator, InputsByRelay, TurnOnByRelay, TurnOnBySupply
from benchctl.documents.bench_file.instruments import Instrument, SupplyOutput
from benchctl.documents.bench_file.instruments import RelayBank as RelayBankEntry
from benchctl.documents.bench_file.instruments import Supply as SupplyEntry
from benchctl.documents.driver_file.driver import Driver
from benchctl.documents.driver_file.generator import GeneratorDriver
from benchctl.documents.driver_file.load import ElectronicLoadDriver, RelayBankDriver
from benchctl.documents.driver_file.multimeter import MultimeterDriver
from benchctl.documents.driver_file.oscilloscope import OscilloscopeDriver
from benchctl.documents.driver_file.supply import SupplyDriver
from benchctl.documents.driver_file.thermometer import ThermometerDriver
from benchctl.documents.model.limits import MAIN_OUTPUT
from benchctl.errors import UsageError
from benchctl.instruments.generator import Generator
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.links.of_driver import link_settings, questions_of
from benchctl.instruments.links.opening import Opener, open_link
from benchctl.instruments.load import ElectronicLoad, Load, RelayBank
from benchctl.instruments.multimeter import Multimeter
from benchctl.instruments.oscilloscope.acquiring import Sleep
from benchctl.instruments.oscilloscope.oscilloscope import Oscilloscope
from benchctl.instruments.oscilloscope.record import Input
from benchctl.instruments.oscilloscope.timing import Ratings
from benchctl.instruments.role import Role
from benchctl.instruments.session import Session
from benchctl.instruments.supply import Supply
from benchctl.instruments.thermometer import Thermometer

_R = TypeVar("_R", bound=Role)
ClockSleep = Callable[..., object]  # Clock.sleep

# How far a supply's reading of zero current varies: some milliamperes, and the last digit of a long range, which is a
# thousandth of it at most (common practice).
NOISE_A = 0.02
NOISE_PART = 0.001


@dataclass(frozen=True)
class Bench:
    """The instruments of one bench, open. A role that is not in the bench file is absent; using it is an error.

    `outputs_to_switch_off` lists the supply's outputs in the order of the safe state: the remote turn-on lead's first.
    """

    roles: Mapping[str, Role]
    outputs_to_switch_off: tuple[str, ...]
    main_output: str = MAIN_OUTPUT

    @property
    def generator(self) -> Generator:
        return self._role("generator", Generator)

    @property
    def oscilloscope(self) -> Oscilloscope:
        return self._role("oscilloscope", Oscilloscope)

    @property
    def load(self) -> Load:
        return self._role("load", Load)  # type: ignore[type-abstract]

    @property
    def supply(self) -> Supply:
        return self._role("supply", Supply)

    @property
    def thermometer(self) -> Thermometer:
        return self._role("thermometer", Thermometer)

    @property
    def multimeter(self) -> Multimeter:
        return self._role("multimeter", Multimeter)

    def has(self, role: str) -> bool:
        """Whether the bench has an instrument in this role."""
        return role in self.roles

    @property
    def is_settled(self) -> bool:
        """Whether every instrument is known to have done everything that it was sent."""
        return all(role.session.is_settled for role in self.roles.values())

    def check_errors(self) -> None:
        """Empty every instrument's error queue; raise the first error found, or that an instrument has lost its
        settings (its link may still work)."""
        for role in self.roles.values():
            role.session.check_power()
            role.check_errors()

    def report_every_error(self) -> None:
        """Enable every error in every instrument's queue, which another client may have disabled; raise one that
        waits."""
        self.check_errors()
        for role in self.roles.values():
            role.session.report_every_error()

    def open(self) -> None:
        """From now on an instrument that is switched off and on is noticed."""
        for role in self.roles.values():
            role.session.open()

    def reset(self, wait: Callable[[float], object]) -> None:
        """Bring every instrument to a known state: all are told, and then all are waited for.

        Args:
            wait: lets time pass on the run's clock.
        """
        quiet_s = max((role.reset() for role in self.roles.values()), default=0.0)
        if quiet_s:
            wait(quiet_s)
        for role in self.roles.values():
            role.await_reset()

    def report_to(self, report: Callable[..., None]) -> None:
        """From now on call `report` for each exchange that needs a second attempt."""
        for role in self.roles.values():
            role.session.report_to(report)

    def identities(self) -> dict[str, str]:
        """Each role's answer to *IDN?."""
        return {name: role.session.identity for name, role in self.roles.items()}

    def close(self) -> None:
        """Give every panel back to a person, and close every link."""
        with ExitStack() as stack:
            for role in self.roles.values():
                stack.callback(role.session.close)
                stack.callback(role.give_back)

    def leave(self) -> None:
        """Give every link back, and open no other before somebody looks for an instrument that was switched off and on:
        the guardian takes over."""
        for role in self.roles.values():
            role.session.leave()

    def __enter__(self) -> Bench:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _role(self, name: str, kind: type[_R]) -> _R:
        role = self.roles.get(name)
        if not isinstance(role, kind):
            raise UsageError(f"the bench file has no {name}")
        return role


def open_bench(
    file: document.Bench,
    addresses: Mapping[str, str],
    interlock: Interlock,
    sleep: ClockSleep,
    *,
    connect: bool = True,
    admit: Callable[[Mapping[str, str]], None] | None = None,
    opener: Opener = open_link,
    owed: Callable[[str], float] | None = None,
    now: Callable[[], float] = time.monotonic,
) -> Bench:
    """Connect to the instruments of a bench file.

    Args:
        file: the bench file, read with its drivers.
        addresses: role -> VISA address; the bench file's own, or those of simulated instruments.
        interlock: the run's.
        sleep: waits on the run's clock; an open interlock ends it.
        connect: False leaves each link to its first use, for the safe state: one instrument that is gone must not
            keep the others from it.
        admit: is given each role's answer to *IDN?, and may raise, before anything but that is said to an instrument.
        opener: opens the link at an address.
        owed: how long the instrument in a role needs from now on; see `Session`.
        now: the time of the run's clock.

    Raises:
        InstrumentError: an instrument cannot be reached or does not say who it is; those already open are closed.
    """
    roles: dict[str, Role] = {}
    wait = partial(sleep, until=interlock.opened)
    with ExitStack() as stack:
        for name, entry in file.instruments.items():
            driver = file.drivers[name]
            session = _session(
                name, addresses[name], driver, entry, interlock, opener=opener, sleep=wait, owed=owed, now=now
            )
            stack.callback(session.close)
            roles[name] = _greeted(file, session, driver, wait, connect=connect)
        bench = Bench(roles, _switch_off_order(file))
        if admit is not None:
            admit(bench.identities())
        if connect:
            bench.open()
        stack.pop_all()
    return bench


def _session(
    name: str,
    address: str,
    driver: Driver,
    entry: Instrument,
    interlock: Interlock,
    *,
    opener: Opener,
    sleep: Sleep,
    owed: Callable[[str], float] | None,
    now: Callable[[], float],
) -> Session:
    """The session with the instrument at an address, on a link that behaves as its driver file and its entry say."""
    return Session(
        name,
        address,
        interlock,
        opener=opener,
        settings=link_settings(driver, entry),
        questions=questions_of(driver),
        sleep=sleep,
        owed=None if owed is None else partial(owed, name),
        now=now,
        ask_every_s=driver.pace.ask_every_s or 0.0,
    )


def _greeted(file: document.Bench, session: Session, driver: Driver, sleep: Sleep, *, connect: bool) -> Role:
    """The role that a session serves, once the instrument has said who it is."""
    if connect:
        session.say_hello()
    role = _in_role(file, session, driver, sleep)
    session.verify_with(role.verify)
    return role


def _in_role(  # noqa: PLR0911 - one return a kind of driver is the plainest form of this table
    file: document.Bench, session: Session, driver: Driver, sleep: Sleep
) -> Role:
    instruments = file.instruments
    match driver:
        case GeneratorDriver():
            return Generator(session, driver, _generator_outputs(file))
        case SupplyDriver() if instruments.supply is not None:
            return _supply(session, driver, instruments.supply)
        case ThermometerDriver() if instruments.thermometer is not None:
            return Thermometer(session, driver, dict(instruments.thermometer.channels.items()))
        case MultimeterDriver() if instruments.multimeter is not None:
            return Multimeter(session, driver, instruments.multimeter.points)
        case RelayBankDriver() if isinstance(instruments.load, RelayBankEntry):
            return RelayBank(session, driver, _relays(instruments.load), _turn_on_relay(file), _input_relays(file))
        case ElectronicLoadDriver():
            return ElectronicLoad(session, driver)
        case OscilloscopeDriver() if (entry := instruments.oscilloscope) is not None:
            ratings = Ratings(entry.ratings.bits, entry.ratings.memory, entry.ratings.sample_rate_hz)
            return Oscilloscope(session, driver, _inputs(file), ratings, file.signals.trigger.channel, sleep)
        case _:
            raise UsageError(f"driver '{driver.title}' does not fit the {session.name} of the bench file")


def _supply(session: Session, driver: SupplyDriver, entry: SupplyEntry) -> Supply:
    numbers = {name: output.number for name, output in entry.outputs.items()}
    zero_a = {name: _zero_a(entry, output) for name, output in entry.outputs.items()}
    remote_sense = [name for name, output in entry.outputs.items() if output.remote_sense]
    return Supply(session, driver, numbers, zero_a, remote_sense)


def _zero_a(supply: SupplyEntry, output: SupplyOutput) -> float:
    """What an output may read where no current flows: its limit of error there, and noise in the last digits."""
    limit = supply.accuracy.current
    return limit.fixed + limit.range * output.current_a + NOISE_A + NOISE_PART * output.current_a


def _inputs(file: document.Bench) -> dict[str, Input]:
    return {
        signal: Input(
            signal,
            wiring.oscilloscope,
            "A" if wiring.probe.kind == "current clamp" else "V",
            wiring.probe.units_per_volt,
        )
        for signal, wiring in file.signals.wirings()
    }


def _relays(bank: RelayBankEntry) -> dict[float, tuple[int, ...]]:
    """Nominal resistance -> the relays that connect it, one a channel."""
    by_ohm: dict[float, list[int]] = defaultdict(list)
    for resistor in bank.resistors:
        by_ohm[resistor.nominal_ohm].append(resistor.relay)
    return {ohm: tuple(relays) for ohm, relays in by_ohm.items()}


def _turn_on_relay(file: document.Bench) -> int | None:
    lead = file.remote_turn_on
    return lead.relay if isinstance(lead, TurnOnByRelay) else None


def _input_relays(file: document.Bench) -> dict[str, int]:
    return dict(file.inputs.relays) if isinstance(file.inputs, InputsByRelay) else {}


def _generator_outputs(file: document.Bench) -> dict[str, int]:
    return dict(file.inputs.outputs) if isinstance(file.inputs, InputsByGenerator) else {}


def _switch_off_order(file: document.Bench) -> tuple[str, ...]:
    supply = file.instruments.supply
    outputs = list(supply.outputs) if supply is not None else []
    lead = file.remote_turn_on
    first = [lead.output] if isinstance(lead, TurnOnBySupply) else []
    return (*first, *(name for name in outputs if name not in first))
