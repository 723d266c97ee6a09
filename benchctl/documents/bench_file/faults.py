"""Faults of a simulated bench: what instruments and links do wrong, from when, and for how long.

A fault begins once, `at` a time or at the nth `exchange` of its instrument, or again and again with a `probability`
at each exchange. Then it strikes `times` exchanges, or lasts `for` a while. A fault of the link or of an answer
strikes once unless more is asked; a fault of the bench itself stays.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from typing import Annotated, Literal

from pydantic import Field

from benchctl.documents.bench_file.instruments import Instruments
from benchctl.documents.model.fields import (
    Line,
    NotNegativeSeconds,
    Number,
    OutputName,
    PositiveSeconds,
    Ratio,
    RelayNumber,
    ScopeChannel,
    Seconds,
    SensorName,
    Volts,
    Whole,
    bounded,
    counted,
)
from benchctl.documents.model.model_base import Part, PathProblem

RoleName = Literal["generator", "oscilloscope", "load", "supply", "thermometer", "multimeter"]

LinkFaultKind = Literal[
    "no answer",
    "deaf",
    "connection dropped",
    "reset in mid-block",
    "power cycle",
    "error queue filling",
    "garbage",
    "truncated number",
    "stale value",
    "not a number",
    "over range",
    "wrong unit",
    "unit in the answer",
    "another model",
]

Count = Annotated[Whole, counted(at_least=1, at_most=1_000_000, example=3)]


class FaultBase(Part):
    """When a fault begins, and how long it lasts once it has begun; for ever, unless it says otherwise."""

    kind: str
    instrument: RoleName | None
    at_s: NotNegativeSeconds | None = Field(default=None, description="time of the run at which it begins")
    exchange: Count | None = Field(
        default=None, description="number of the exchange at which it begins, counted from 1"
    )
    probability: Annotated[Ratio, bounded("1", above=0, at_most=1)] | None = Field(
        default=None, description="chance that it begins, at each exchange; drawn from the bench's seed"
    )
    for_s: PositiveSeconds | None = Field(default=None, description="how long it lasts once it has begun")

    @property
    def strikes(self) -> int | None:
        """How many exchanges it strikes once it has begun; None: as many as there are while it lasts."""
        return None

    def problems(self) -> Iterator[PathProblem]:
        """It begins in one way."""
        if sum(each is not None for each in (self.at_s, self.exchange, self.probability)) != 1:
            yield PathProblem((), "a fault begins in one way; give 'at', 'exchange' or 'probability'")


class ExchangeFault(FaultBase):
    """What strikes single exchanges: one, unless more is said."""

    instrument: RoleName = Field(description="whose exchanges it strikes")
    times: Count | None = Field(default=None, description="how many exchanges it strikes; one, unless `for` is given")

    @property
    def strikes(self) -> int | None:
        """How many exchanges it strikes once it has begun; None: as many as there are while it lasts."""
        return self.times or (1 if self.for_s is None else None)

    def problems(self) -> Iterator[PathProblem]:
        """It ends in one way."""
        yield from super().problems()
        if self.for_s is not None and self.times is not None:
            yield PathProblem(("for",), "'times' says already how long it lasts; give one of the two", is_key=True)


class LinkFault(ExchangeFault):
    """Something goes wrong between an instrument and whoever talks to it."""

    kind: LinkFaultKind = Field(description="what goes wrong")


class LateAnswer(ExchangeFault):
    """An answer leaves late, but before the answer to the next question, as instruments answer in order."""

    kind: Literal["late answer"] = Field(description="an answer leaves late")
    by_s: PositiveSeconds = Field(default=3.0, description="how late it leaves if nothing more is asked")


class OutputStuck(FaultBase):
    """An output, once on, does not switch off."""

    kind: Literal["output stuck"] = Field(description="an output, once on, does not switch off")
    instrument: Literal["generator", "supply"] = Field(description="whose output it is")
    output: OutputName = Field(default="main", description="which output of the supply")


class RelayStuck(FaultBase):
    """A relay stays as it is."""

    kind: Literal["relay stuck"] = Field(description="a relay stays as it is")
    instrument: Literal["load"] = Field(default="load", description="whose relay it is")
    relay: RelayNumber = Field(description="number of the relay")


class SensorOpen(FaultBase):
    """A temperature sensor comes off."""

    kind: Literal["sensor open"] = Field(description="a temperature sensor comes off")
    instrument: Literal["thermometer"] = Field(default="thermometer", description="whose sensor it is")
    sensor: SensorName = Field(default="heatsink", description="name of the sensor")


class SupplyDrift(FaultBase):
    """The supply's main output creeps away from its setting."""

    kind: Literal["supply drift"] = Field(description="the main output creeps away from its setting")
    instrument: Literal["supply"] = Field(default="supply", description="whose output it is")
    by_v: Volts = Field(description="how far, such as `-3 V`")
    over_s: PositiveSeconds = Field(default=10.0, description="time that the drift takes")


class WrongByFactor(FaultBase):
    """An instrument shows, or a generator gives, so many times what is true: a probe at another ratio, a second supply
    in parallel that nobody asks, a load setting for another impedance, a clamp the wrong way round."""

    kind: Literal["wrong by a factor"] = Field(description="an instrument shows so many times what is true")
    instrument: Literal["generator", "oscilloscope", "supply", "thermometer", "multimeter"] = Field(
        description="which one is wrong"
    )
    of: Line = Field(
        description="what it is wrong of: `level` of the generator; `current` or `voltage` of the supply's main output;"
        " a sensor of the thermometer, such as `heatsink`; a point of the multimeter, such as `bias A`; a signal of "
        "the oscilloscope, such as `output A`",
        examples=["current", "output A"],
    )
    factor: Annotated[Number, bounded("", at_least=-1000, at_most=1000)] = Field(
        description="factor to the true value; 0 for an instrument that shows nothing at all"
    )

    def problems(self) -> Iterator[PathProblem]:
        """A level has no sign."""
        yield from super().problems()
        if self.instrument == "generator" and self.factor < 0.0:
            yield PathProblem(("factor",), "a generator's level has no sign; give a factor that is not below 0")


class OneChannelForAll(FaultBase):
    """The oscilloscope gives the record of one of its channels, whichever is asked for."""

    kind: Literal["one channel for all"] = Field(description="the same record, whichever channel is asked for")
    instrument: Literal["oscilloscope"] = Field(default="oscilloscope", description="whose record it is")
    channel: ScopeChannel = Field(default=1, description="the channel whose record it gives")


class SensorStuck(FaultBase):
    """A temperature sensor shows what it showed when the fault began, whatever becomes of the temperature."""

    kind: Literal["sensor stuck"] = Field(description="a temperature sensor shows the same for ever")
    instrument: Literal["thermometer"] = Field(default="thermometer", description="whose sensor it is")
    sensor: SensorName = Field(default="heatsink", description="name of the sensor")


class SensorFellOff(FaultBase):
    """A temperature sensor lies on the bench, and shows the air."""

    kind: Literal["sensor fell off"] = Field(description="a temperature sensor shows the air")
    instrument: Literal["thermometer"] = Field(default="thermometer", description="whose sensor it is")
    sensor: SensorName = Field(default="heatsink", description="name of the sensor")


class Swapped(FaultBase):
    """Two connections changed places: probes, plugs, relays or sensors."""

    kind: Literal["swapped"] = Field(description="two connections changed places")
    instrument: Literal["generator", "oscilloscope", "load", "thermometer"] = Field(description="whose connections")
    between: tuple[Line, ...] = Field(
        min_length=2,
        max_length=2,
        description="the two: of the generator, inputs such as `[A, B]`; of the oscilloscope, signals "
        "such as `[output A, output B]`; numbers of the load's relays; sensors of the thermometer",
        examples=[["output A", "output B"]],
    )


class OffBy(FaultBase):
    """The oscilloscope shows a constant beside a signal, as of a clamp that was not zeroed."""

    kind: Literal["off by"] = Field(description="the oscilloscope shows a constant beside a signal")
    instrument: Literal["oscilloscope"] = Field(default="oscilloscope", description="whose signal it is")
    of: Line = Field(description="the signal, such as `supply current`", examples=["supply current"])
    by: Annotated[Number, bounded("", at_least=-1000, at_most=1000)] = Field(
        description="how much, in V or A of the signal"
    )


class NoTrigger(FaultBase):
    """The generator's sync output does not reach the oscilloscope."""

    kind: Literal["no trigger"] = Field(description="the generator's sync output does not reach the oscilloscope")
    instrument: Literal["oscilloscope"] = Field(default="oscilloscope", description="which trigger it is")


class ClockJump(FaultBase):
    """Time passes on the bench that the run's clock knows nothing of, as if the computer had slept; or stands still.

    Less than nothing: the instruments' time stands still for so long.
    """

    kind: Literal["clock jump"] = Field(description="time passes on the bench that the run's clock knows nothing of")
    instrument: RoleName | None = Field(
        default=None, description="instrument whose exchanges are counted; if left out, all"
    )
    by_s: Annotated[Seconds, bounded("s", at_least=-86_400, at_most=86_400)] = Field(
        description="how much time passes; below zero, the instruments' time stands still for so long"
    )


BenchFault = Annotated[
    LinkFault
    | LateAnswer
    | OutputStuck
    | RelayStuck
    | SensorOpen
    | SensorStuck
    | SupplyDrift
    | WrongByFactor
    | OneChannelForAll
    | SensorFellOff
    | Swapped
    | OffBy
    | NoTrigger
    | ClockJump,
    Field(discriminator="kind"),
]


def fault_problems(
    faults: Sequence[FaultBase],
    instruments: Instruments,
    other_relays: Collection[int] = (),
    signals: Collection[str] = (),
) -> Iterator[PathProblem]:
    """Faults of things that the bench has not got; paths start from the list of faults.

    `other_relays`: those of the bank that connect no resistor. `signals`: what is wired to the oscilloscope.
    """
    present = [name for name, _ in instruments.items()]
    for index, fault in enumerate(faults):
        if fault.instrument is not None and fault.instrument not in present:
            yield PathProblem((index, "instrument"), f"there is no {fault.instrument} under 'instruments'")
        elif missing := _missing_part(fault, instruments, other_relays) or _missing_quantity(
            fault, instruments, signals
        ):
            yield PathProblem((index, missing[0]), missing[1])


def _missing_part(fault: FaultBase, instruments: Instruments, other_relays: Collection[int]) -> tuple[str, str] | None:
    """The key that names a part of an instrument that is not there, and what to say of it."""
    supply, thermometer = instruments.supply, instruments.thermometer
    match fault:
        case OutputStuck(instrument="supply", output=output) if supply and output not in supply.outputs:
            return "output", f"the supply has no output '{output}'; there are {', '.join(supply.outputs)}"
        case RelayStuck(relay=relay) if relay not in (relays := _relays(instruments, other_relays)):
            there_are = f"there are {', '.join(map(str, relays))}" if relays else "the load has none"
            return "relay", f"the bench has no relay {relay}; {there_are}"
        case SensorOpen(sensor=sensor) | SensorStuck(sensor=sensor) | SensorFellOff(sensor=sensor) if thermometer:
            positions = [name for name, _ in thermometer.channels.items()]
            if sensor not in positions:
                return "sensor", f"the thermometer has no channel '{sensor}'; there are {', '.join(positions)}"
    return None


def _missing_quantity(fault: FaultBase, instruments: Instruments, signals: Collection[str]) -> tuple[str, str] | None:
    """The key and what to say where an instrument has no such quantity to be wrong of."""
    if isinstance(fault, OffBy) and fault.of not in signals:
        return "of", f"the oscilloscope shows no '{fault.of}' on this bench; there are {', '.join(signals)}"
    if not isinstance(fault, WrongByFactor):
        return None
    thermometer = instruments.thermometer
    quantities = {
        "generator": ("level",),
        "supply": ("current", "voltage"),
        "oscilloscope": tuple(signals),
        "thermometer": tuple(name for name, _ in thermometer.channels.items()) if thermometer else (),
        "multimeter": tuple(instruments.multimeter.points) if instruments.multimeter else (),
    }[fault.instrument]
    if fault.of in quantities:
        return None
    return "of", f"the {fault.instrument} shows no '{fault.of}' on this bench; there are {', '.join(quantities)}"


def _relays(instruments: Instruments, others: Collection[int]) -> list[int]:
    load = instruments.load
    if load is None or load.kind != "relay bank":
        return []
    return sorted({*(resistor.relay for resistor in load.resistors), *others})
