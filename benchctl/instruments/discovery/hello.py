"""Hello to an instrument of a bench file: who it is, its error queue, one reading, and how long a question takes.

Only questions are sent; nothing is set and nothing is switched.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace

from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bench_file.instruments import Instrument, RelayBank, Supply, Thermometer
from benchctl.documents.driver_file.driver import Driver
from benchctl.documents.driver_file.generator import GeneratorDriver
from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.templates import Value
from benchctl.documents.driver_file.load import ElectronicLoadDriver, RelayBankDriver
from benchctl.documents.driver_file.oscilloscope import OscilloscopeDriver
from benchctl.documents.driver_file.supply import SupplyDriver
from benchctl.documents.driver_file.thermometer import ThermometerDriver
from benchctl.errors import InstrumentError
from benchctl.instruments.session import Session

# The median of an odd number is one of them; the worst of five is seen within a second or two at a slow instrument.
TIMES_ASKED = 5


@dataclass(frozen=True)
class Look:
    """A harmless question: what it tells, and whether it tells that something is switched on."""

    what: str
    words: Query
    values: Mapping[str, Value]
    tells_on: bool = False


@dataclass(frozen=True)
class Hello:
    """What came of it; as far as it came, where `problem` says what went wrong.

    Attributes:
        errors: what stood in the error queue, the oldest first. Reading it has emptied it.
        reading: what was asked, and the answer.
        is_on: what is switched on, by name.
        times_s: how long each question took.
    """

    role: str
    address: str
    identity: str = ""
    errors: tuple[str, ...] = ()
    reading: tuple[str, str] = ("", "")
    is_on: tuple[str, ...] = ()
    times_s: tuple[float, ...] = ()
    problem: str = ""

    @property
    def median_s(self) -> float:
        """How long a question usually takes."""
        return statistics.median(self.times_s)

    @property
    def worst_s(self) -> float:
        """The longest that a question took."""
        return max(self.times_s)


def say_hello(role: str, session: Session, file: Bench, now: Callable[[], float] = time.monotonic) -> Hello:
    """Say hello to one instrument; what fails is in `problem`."""
    hello = Hello(role, session.address)
    looks = tuple(looks_of(file.drivers[role], dict(file.instruments.items())[role]))
    try:
        hello = replace(hello, identity=session.say_hello())
        hello = replace(hello, errors=tuple(f'{code}, "{text}"' for code, text in session.take_errors()))
        hello = replace(
            hello, is_on=tuple(look.what for look in looks if look.tells_on and look.words and _is_on(session, look))
        )
        if not looks or not looks[0].words:
            return hello
        times, answers = zip(*(_timed(session, looks[0], now) for _ in range(TIMES_ASKED)), strict=True)
        return replace(hello, reading=(looks[0].what, answers[-1]), times_s=times)
    except InstrumentError as error:
        return replace(hello, problem=error.message)


def _timed(session: Session, look: Look, now: Callable[[], float]) -> tuple[float, str]:
    """How long the last message takes, which is the question, and its answer."""
    *before, question = look.words.render(**look.values)
    for message in before:
        session.command(message)
    began = now()
    answer = session.ask(question)
    return now() - began, answer


def _is_on(session: Session, look: Look) -> bool:
    *before, question = look.words.render(**look.values)
    for message in before:
        session.command(message)
    return session.ask_for(question, look.words.form_for(**look.values).truth)


def looks_of(driver: Driver, entry: Instrument) -> Iterator[Look]:
    """What may be asked of an instrument; the first is the reading."""
    match driver, entry:
        case GeneratorDriver(), _:
            yield Look("frequency", driver.commands.get_frequency, {"output": 1})
            yield Look("output", driver.commands.get_output, {"output": 1}, tells_on=True)
        case SupplyDriver(), Supply():
            yield Look("voltage of 'main'", driver.commands.measure["voltage"], {"output": entry.main.number})
            for name, output in entry.outputs.items():
                yield Look(f"output '{name}'", driver.commands.get_output, {"output": output.number}, tells_on=True)
        case RelayBankDriver(), RelayBank():
            relays = tuple(sorted(resistor.relay for resistor in entry.resistors))
            yield Look("closed relays", driver.commands.get_closed, {"relays": relays, "relay": relays[0]})
        case ElectronicLoadDriver(), _:
            yield Look("resistance", driver.commands.get_resistance, {})
            yield Look("input", driver.commands.get_connected, {}, tells_on=True)
        case ThermometerDriver(), Thermometer():
            name, channel = entry.channels.items()[0]
            yield Look(f"temperature of '{name}'", driver.commands.measure_temperature, {"channel": channel})
        case OscilloscopeDriver(), _:
            yield Look("range of channel 1", driver.commands.get_vertical, {"channel": 1})
