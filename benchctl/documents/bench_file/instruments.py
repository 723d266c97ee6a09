"""The instruments of a bench file: address, driver, ratings, accuracy, calibration date, per role."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag, ValidationInfo, field_validator

from benchctl import library
from benchctl.address import NetworkAddress, parse_address
from benchctl.documents.bench_file.multimeter import MultimeterAccuracies, Point, key_for
from benchctl.documents.bench_file.resistors import Resistor, doubled_resistors, resistors_for
from benchctl.documents.driver_file.common import LinkWords
from benchctl.documents.model.accuracy import (
    FrequencyAccuracy,
    InputVoltageAccuracy,
    ReadCurrentAccuracy,
    ReadVoltageAccuracy,
    ResistanceAccuracy,
    TemperatureAccuracy,
    VoltageAccuracy,
)
from benchctl.documents.model.fields import (
    Address,
    ChannelName,
    Date,
    DriverName,
    NotNegativeSeconds,
    OutputName,
    PointName,
    Points,
    PositiveAmperes,
    PositiveHertz,
    PositiveOhms,
    PositiveSeconds,
    PositiveVolts,
    PositiveWatts,
    SamplesPerSecond,
    ScanChannel,
    SensorName,
    Tolerance,
    Whole,
    YesNo,
    bounded,
    counted,
)
from benchctl.documents.model.limits import KNOWN_SENSORS
from benchctl.documents.model.model_base import Part, PathProblem, Reading
from benchctl.documents.model.origin import Origin
from benchctl.errors import UsageError


class Instrument(Part):
    """What every instrument has."""

    address: Address = Field(description="its VISA address")
    driver: DriverName = Field(description="a shipped driver by name, or a driver file beside this one")
    link: LinkWords | None = Field(
        default=None, description="how the link to it behaves, where the driver file says it otherwise or not at all"
    )
    calibrated: Date | None = Field(default=None, description="date of the last calibration")
    calibration_due: Date | None = Field(
        default=None, description="date from which that calibration no longer counts; preflight and the page say so"
    )
    question_takes_s: NotNegativeSeconds = Field(
        default=0.0,
        description="how long a question to it usually takes, as `benchctl instruments --bench` shows; preflight adds "
        "it to its times and temperatures",
        examples=["100 ms"],
    )

    def is_overdue(self, today: datetime.date) -> bool:
        """Whether its calibration no longer counts on a day."""
        return self.calibration_due is not None and today >= self.calibration_due

    @field_validator("driver", mode="after")
    @classmethod
    def _driver_exists(cls, driver: str, info: ValidationInfo) -> str:
        """Only where a file is read that is to be used: a model built in Python has no folder to look in."""
        if isinstance(info.context, Reading) and info.context.looks_for_drivers:
            try:
                library.find("drivers", driver, info.context.folder)
            except UsageError as error:
                raise ValueError(str(error)) from None
        return driver


class GeneratorRatings(Part):
    """What the generator can give."""

    level_v: PositiveVolts = Field(description="highest level, RMS")
    frequency_hz: PositiveHertz = Field(description="highest frequency")
    distortion: Tolerance = Field(
        default=0.001,
        description="distortion with noise (THD+N) of its tone at most; where the amplifier's is not clearly more, "
        "`measure_distortion` gives a bound. Left out, 0.1 % (common practice for function generators)",
    )
    square_rise_s: PositiveSeconds | None = Field(
        default=None,
        description="rise time of its square wave, 10 % to 90 %, by its data sheet; without it an amplifier's rise "
        "time is only known as a bound",
    )


class GeneratorAccuracies(Part):
    """How far the generator's settings may be off."""

    level: VoltageAccuracy
    frequency: FrequencyAccuracy


class Generator(Instrument):
    """The function generator that drives the amplifier."""

    ratings: GeneratorRatings
    accuracy: GeneratorAccuracies


# What is before an oscilloscope's converter distorts by about so much near the ends of the range (common practice).
_LEAST_LINEARITY = 1e-3


class OscilloscopeRatings(Part):
    """What the oscilloscope can take and give."""

    bits: Annotated[Whole, counted(at_least=6, at_most=24, example=12)] = Field(description="bits of its converter")
    memory: Annotated[Points, counted(at_least=1_000, at_most=2_000_000_000, example=1_000_000)] = Field(
        description="samples per channel"
    )
    sample_rate_hz: Annotated[SamplesPerSecond, bounded("Sa/s", above=0)] = Field(
        description="highest sample rate with all channels on"
    )
    input_v: PositiveVolts = Field(description="highest voltage at an input, peak")
    bandwidth_hz: PositiveHertz | None = Field(
        default=None,
        description="frequency at which it shows 3 dB less; without it an amplifier's rise time is only known as a "
        "bound",
    )
    skew_s: PositiveSeconds = Field(
        default=100e-9,
        description="largest difference between the delays of two channels, probes included; if left out, 100 ns, as "
        "of probes of unlike kinds",
    )


class OscilloscopeAccuracies(Part):
    """How far the oscilloscope's readings may be off."""

    voltage: InputVoltageAccuracy


class Oscilloscope(Instrument):
    """The oscilloscope that sees the outputs and the supply."""

    ratings: OscilloscopeRatings
    accuracy: OscilloscopeAccuracies

    @property
    def linearity(self) -> float:
        """How far it may be off a straight line, as a part of the range: as stated, or as is common practice."""
        stated = self.accuracy.voltage.linearity
        return max(0.5**self.ratings.bits, _LEAST_LINEARITY) if stated is None else stated


class RelayBank(Instrument):
    """Load resistors switched by relays."""

    resistors: tuple[Resistor, ...] = Field(min_length=1, description="one entry for each resistor")

    @property
    def kind(self) -> Literal["relay bank"]:
        """The form of load, as its driver file names it."""
        return "relay bank"

    def resistors_for(self, nominal_ohm: float) -> Mapping[str, Resistor]:
        """Amplifier channel -> its resistor of that nominal value; empty where there is none."""
        return resistors_for(self.resistors, nominal_ohm)

    def problems(self) -> Iterator[PathProblem]:
        relays: set[int] = set()
        for index, resistor in enumerate(self.resistors):
            if resistor.relay in relays:
                yield PathProblem(
                    ("resistors", index, "relay"), f"relay {resistor.relay} connects another resistor already"
                )
            relays.add(resistor.relay)
        yield from doubled_resistors(self.resistors)


class ResistanceRange(Part):
    """Resistances an electronic load can be set to."""

    minimum_ohm: PositiveOhms = Field(description="the lowest resistance")
    maximum_ohm: PositiveOhms = Field(description="the highest resistance")

    def problems(self) -> Iterator[PathProblem]:
        if self.maximum_ohm <= self.minimum_ohm:
            yield PathProblem(("maximum",), "the maximum resistance must lie above the minimum")


class ElectronicLoadRatings(Part):
    """What the electronic load can bear."""

    resistance: ResistanceRange
    power_w: PositiveWatts = Field(description="power that it bears continuously")
    voltage_v: PositiveVolts | None = Field(default=None, description="highest voltage at its terminals, peak")


class ElectronicLoadAccuracies(Part):
    """How far a set resistance may be off."""

    resistance: ResistanceAccuracy


class ElectronicLoad(Instrument):
    """An electronic load in resistance mode, wired to one amplifier output; it must take ac of either polarity."""

    channel: ChannelName = Field(description="the amplifier output that it is wired to")
    ratings: ElectronicLoadRatings
    accuracy: ElectronicLoadAccuracies

    @property
    def kind(self) -> Literal["electronic"]:
        """The form of load, as its driver file names it."""
        return "electronic"


def _form_of_load(value: Any) -> str:
    given = value if isinstance(value, dict) else getattr(value, "__dict__", {})
    return "electronic" if "ratings" in given or ("channel" in given and "resistors" not in given) else "relay bank"


Load = Annotated[
    Annotated[RelayBank, Tag("relay bank")] | Annotated[ElectronicLoad, Tag("electronic")],
    Discriminator(_form_of_load),
]


class SupplyOutput(Part):
    """One output of the supply."""

    number: Annotated[Whole, counted(at_least=1, at_most=16, example=1)] = Field(
        description="number of the output in the supply's commands"
    )
    voltage_v: PositiveVolts = Field(description="highest voltage")
    current_a: PositiveAmperes = Field(description="highest current")
    remote_sense: YesNo = Field(
        default=False,
        description="whether sense leads go to the amplifier's terminals, so that the supply holds and reads the "
        "voltage there",
    )
    leads_ohm: PositiveOhms | None = Field(
        default=None,
        description="the most that both leads to the amplifier may have together, with plugs and fuse holder; where "
        "nothing measures at the amplifier's terminals, `supply_voltage` is then known to be at least what they leave",
        examples=["6 mohm"],
    )
    origin: Origin | None = Field(
        default=None, description="where `leads` comes from; written by the program from `calibration`"
    )

    def problems(self) -> Iterator[PathProblem]:
        if self.remote_sense and self.leads_ohm is not None:
            yield PathProblem(
                ("leads",), "sense leads measure at the amplifier's terminals, whatever the leads take; leave one out"
            )


class SupplyAccuracies(Part):
    """How far the supply's own readings may be off."""

    voltage: ReadVoltageAccuracy
    current: ReadCurrentAccuracy


class Supply(Instrument):
    """The dc supply; its output `main` feeds the amplifier."""

    outputs: dict[OutputName, SupplyOutput] = Field(
        min_length=1, description="the outputs by name; `main` feeds the amplifier"
    )
    accuracy: SupplyAccuracies

    @property
    def main(self) -> SupplyOutput:
        """The output that feeds the amplifier."""
        return self.outputs["main"]

    def problems(self) -> Iterator[PathProblem]:
        if "main" not in self.outputs:
            yield PathProblem(("outputs",), "no output is called 'main'; it is the one that feeds the amplifier")
        numbers: dict[int, str] = {}
        for name, output in self.outputs.items():
            if output.number in numbers:
                yield PathProblem(
                    ("outputs", name, "number"), f"output {output.number} is '{numbers[output.number]}' already"
                )
            numbers.setdefault(output.number, name)


class ThermometerChannels(Part):
    """Which scanner channel sits where."""

    heatsink: ScanChannel | None = Field(default=None, description="channel of the sensor on the amplifier's heatsink")
    ambient: ScanChannel | None = Field(default=None, description="channel of the sensor in the air around the bench")
    load: ScanChannel | None = Field(default=None, description="channel of the sensor on the load resistors")
    others: dict[SensorName, ScanChannel] = Field(
        default_factory=dict,
        description="channels of further sensors, by names of your own; they are kept in the trend and can "
        "have limits. One whose name begins with `heatsink_` is on the amplifier's heatsink too, "
        "and its maximum holds there",
    )

    def items(self) -> tuple[tuple[str, int], ...]:
        """The channels that are there, by what they measure."""
        known = ((name, getattr(self, name)) for name in KNOWN_SENSORS)
        return (*((name, channel) for name, channel in known if channel is not None), *self.others.items())

    def problems(self) -> Iterator[PathProblem]:
        seen: dict[int, str] = {}
        for name, channel in self.items():
            at = ("others", name) if name in self.others else (name,)
            if channel in seen:
                yield PathProblem(at, f"channel {channel} is '{seen[channel]}' already")
            seen.setdefault(channel, name)
        for name in self.others:
            if name in KNOWN_SENSORS:
                yield PathProblem(("others", name), f"'{name}' stands under 'channels' itself", is_key=True)
            elif name.startswith("supply_") or name == "output_offset":
                yield PathProblem(
                    ("others", name), f"'{name}' is what a reading of another kind is called", is_key=True
                )
        if not seen:
            yield PathProblem((), "a thermometer without channels; give heatsink, ambient, load or others")


class ThermometerAccuracies(Part):
    """How far a temperature may be off."""

    temperature: TemperatureAccuracy


class Thermometer(Instrument):
    """The temperature scanner."""

    channels: ThermometerChannels
    accuracy: ThermometerAccuracies


class Multimeter(Instrument):
    """The multimeter, which measures at points that are named here, when a step asks for it."""

    points: dict[PointName, Point] = Field(
        min_length=1,
        description="the points by names of your own, such as `bias A`; a step measures all of them, or some",
    )
    accuracy: MultimeterAccuracies

    def problems(self) -> Iterator[PathProblem]:
        for name, point in self.points.items():
            if self.accuracy.of(point.measures) is None:
                stated = f"give '{key_for(point.measures)}' under 'accuracy'"
                yield PathProblem(("points", name, "measures"), f"no accuracy is stated for it; {stated}")
        wired = [name for name, point in self.points.items() if point.channel is not None]
        by_hand = [name for name in self.points if name not in wired]
        if wired and by_hand:
            yield PathProblem(
                ("points", by_hand[0]),
                f"'{wired[0]}' has a channel of the scanner and this point has none; a multimeter measures either "
                "through its scanner or with leads that a person moves",
            )


class Instruments(Part):
    """The instruments of a bench by role; a role that is absent is refused by the preflight of what needs it."""

    generator: Generator | None = None
    oscilloscope: Oscilloscope | None = None
    load: Load | None = Field(
        default=None, description="resistors behind relays (`resistors`), or an electronic load (`channel`, `ratings`)"
    )
    supply: Supply | None = None
    thermometer: Thermometer | None = None
    multimeter: Multimeter | None = None

    def items(self) -> tuple[tuple[str, Instrument], ...]:
        """The instruments that are there, by role, in a fixed order."""
        every = ((role, getattr(self, role)) for role in type(self).model_fields)
        return tuple((role, instrument) for role, instrument in every if instrument is not None)

    def problems(self) -> Iterator[PathProblem]:
        if not self.items():
            yield PathProblem(
                (), "a bench without instruments; give generator, oscilloscope, load, supply, thermometer, multimeter"
            )
        seen: dict[str, str] = {}
        for role, instrument in self.items():
            address = parse_address(instrument.address)
            if isinstance(address, NetworkAddress) and address.is_loopback:
                if address.canonical in seen:
                    yield PathProblem((role, "address"), f"the {seen[address.canonical]} has this address already")
                seen.setdefault(address.canonical, role)
