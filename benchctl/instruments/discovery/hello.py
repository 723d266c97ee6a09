"""Hello to an instrument of a bench file: who it is, its error queue, one reading, and how long a question takes.

Only questions are sent; nothing is set and nothing is switched.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from benchctl.documents.bench_file.instruments import Instrument
from benchctl.documents.bench_file.instruments import RelayBank as RelayBankEntry
from benchctl.documents.bench_file.instruments import Supply as SupplyEntry
from benchctl.documents.bench_file.instruments import Thermometer as ThermometerEntry
from benchctl.documents.bench_file.multimeter import UNITS
from benchctl.documents.driver_file.generator import GeneratorCommands
from benchctl.documents.driver_file.language.query import Query
from benchctl.documents.driver_file.language.templates import Message, Value
from benchctl.documents.driver_file.load import ElectronicLoadCommands
from benchctl.documents.driver_file.oscilloscope import OscilloscopeCommands
from benchctl.documents.driver_file.supply import SupplyCommands
from benchctl.documents.driver_file.thermometer import ThermometerCommands
from benchctl.errors import InstrumentError
from benchctl.instruments.generator import Generator
from benchctl.instruments.load import ElectronicLoad, RelayBank
from benchctl.instruments.multimeter import Multimeter
from benchctl.instruments.oscilloscope.oscilloscope import Oscilloscope
from benchctl.instruments.role import Role
from benchctl.instruments.session import Session
from benchctl.instruments.supply import Supply
from benchctl.instruments.thermometer import Thermometer
from benchctl.quantity import render
from benchctl.scpi.answer_form import AnswerForm

# The median of an odd number is one of them; the worst of five is seen within a second or two at a slow instrument.
TIMES_ASKED = 5


@dataclass(frozen=True)
class Look:
    """A harmless question: what it tells, and whether it tells that something is switched on.

    Attributes:
        what: in words.
        messages: the last one is the question.
        form: how its answer is taken.
        unit: of the number in it; '' shows the answer as it is.
        tells_on: whether it asks if something is switched on.
    """

    what: str
    messages: tuple[Message, ...]
    form: AnswerForm
    unit: str = ""
    tells_on: bool = False

    def shown(self, answer: str) -> str:
        """The answer as a person reads it."""
        return render(self.form.number(answer), self.unit) if self.unit else answer


@dataclass(frozen=True)
class Hello:
    """What came of it; as far as it came, where `problem` says what went wrong.

    Attributes:
        keeps_errors: whether it has an error queue.
        errors: what stood in the error queue, the oldest first. Reading it has emptied it.
        reading: what was asked, and the answer.
        is_on: what is switched on, by name.
        times_s: how long each question took.
    """

    role: str
    address: str
    identity: str = ""
    errors: tuple[str, ...] = ()
    keeps_errors: bool = True
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


def say_hello(role: Role, entry: Instrument, now: Callable[[], float] = time.monotonic) -> Hello:
    """Say hello to one instrument, as its driver file says; what fails is in `problem`.

    Args:
        role: the instrument.
        entry: what the bench file says of it.
        now: the time.
    """
    session = role.session
    hello = Hello(session.name, session.address, keeps_errors=bool(role.driver.errors))
    try:
        looks = tuple(looks_of(role, entry))
        hello = replace(hello, identity=session.say_hello())
        hello = replace(hello, errors=tuple(f'{code}, "{text}"' for code, text in session.take_errors()))
        hello = replace(hello, is_on=tuple(look.what for look in looks if look.tells_on and _is_on(session, look)))
        if not looks:
            return hello
        times, readings = zip(*(_timed(session, looks[0], now) for _ in range(TIMES_ASKED)), strict=True)
        return replace(hello, reading=(looks[0].what, readings[-1]), times_s=times)
    except InstrumentError as error:
        return replace(hello, problem=error.message)


def _timed(session: Session, look: Look, now: Callable[[], float]) -> tuple[float, str]:
    """How long the question takes, without what is sent before it, and its answer in words."""
    _prepare(session, look)
    began = now()
    answer = session.ask_for(look.messages[-1].text, look.shown)
    return now() - began, answer


def _is_on(session: Session, look: Look) -> bool:
    _prepare(session, look)
    return session.ask_for(look.messages[-1].text, look.form.truth)


def _prepare(session: Session, look: Look) -> None:
    for message in look.messages[:-1]:
        session.command(message.text)


def looks_of(role: Role, entry: Instrument) -> Iterator[Look]:
    """What may be asked of an instrument, as far as it can be asked; the first is the reading."""
    match role, entry:
        case Generator(), _:
            commands = role.driver.common
            assert isinstance(commands, GeneratorCommands)
            yield from _look("frequency", commands.get_frequency, "Hz", output=1)
            yield from _look("output", commands.get_output, output=1)
        case Supply(), SupplyEntry():
            yield from _looks_of_supply(role, entry)
        case RelayBank(), RelayBankEntry():
            relays = sorted(resistor.relay for resistor in entry.resistors)
            for question in role.words.questions(relays)[:1]:
                yield Look("closed relays", question.messages, question.form)
        case ElectronicLoad(), _:
            commands = role.driver.common
            assert isinstance(commands, ElectronicLoadCommands)
            yield from _look("resistance", commands.get_resistance, "ohm")
            yield from _look("input", commands.get_connected)
        case Thermometer(), ThermometerEntry():
            name, channel = entry.channels.items()[0]
            (look,) = _look(f"temperature of '{name}'", _temperature_of(role), "degC", channel=channel)
            yield replace(look, form=role.form_for(name))
        case Multimeter(), _:
            name = next(iter(role.points))
            yield from _look(
                f"'{name}'", role.question_for(name), UNITS[role.points[name].measures], **role.values_for(name)
            )
        case Oscilloscope(), _:
            commands = role.driver.common
            assert isinstance(commands, OscilloscopeCommands)
            channel = min(source.channel for source in role.inputs.values())
            yield from _look(f"range of channel {channel}, per division", commands.get_vertical, "V", channel=channel)


def _looks_of_supply(role: Supply, entry: SupplyEntry) -> Iterator[Look]:
    commands = role.driver.common
    assert isinstance(commands, SupplyCommands)
    if "voltage" in commands.measure:
        yield from _look("voltage at 'main'", commands.measure["voltage"], "V", output=entry.main.number)
    for name, output in entry.outputs.items():
        yield from _look(f"output '{name}'", commands.get_output, output=output.number)


def _temperature_of(role: Thermometer) -> Query:
    commands = role.driver.common
    assert isinstance(commands, ThermometerCommands)
    return commands.measure_temperature


def _look(what: str, query: Query, unit: str = "", **values: Value) -> Iterator[Look]:
    """The question, if the instrument knows one; without a unit it asks whether something is on."""
    if query.templates:
        yield Look(what, query.messages(**values), query.form_for(**values), unit, tells_on=not unit)
