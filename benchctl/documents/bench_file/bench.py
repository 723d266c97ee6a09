"""Bench files: the user's instruments, what is wired to what, and what the bench bears."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field, PrivateAttr, WithJsonSchema

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.by_hand import LoadsByHand, ProbesByHand
from benchctl.documents.bench_file.faults import fault_problems
from benchctl.documents.bench_file.instruments import ElectronicLoad, Instruments, RelayBank
from benchctl.documents.bench_file.resistors import LoadResistor
from benchctl.documents.bench_file.simulated_instruments import simulated_problems
from benchctl.documents.bench_file.simulation import BenchSimulation
from benchctl.documents.bench_file.workshop import Workshop
from benchctl.documents.driver_file.driver import Driver
from benchctl.documents.model.fields import (
    ChannelName,
    FileName,
    GeneratorOutput,
    Line,
    OutputName,
    Pair,
    PositiveAmperes,
    PositiveHertz,
    PositiveNumber,
    PositiveVolts,
    RelayNumber,
    ScopeChannel,
    Tolerance,
    Unwatched,
    VoltsPerAmpere,
    bounded,
    reading_as,
)
from benchctl.documents.model.limits import Limits, output_of
from benchctl.documents.model.model_base import Document, Part, PathProblem, doubled
from benchctl.documents.model.origin import ClampOrigin, Origin, ProbeOrigin
from benchctl.documents.text.words import nearest
from benchctl.errors import quote
from benchctl.quantity import render


class _VoltageProbe(Part):
    ratio: PositiveNumber = Field(description="volts at the tip for one volt at the oscilloscope; 1 for a plain lead")
    rating_v: PositiveVolts = Field(description="highest voltage at the tip, peak")
    accuracy: Tolerance = Field(description="accuracy of its ratio")
    bandwidth_hz: PositiveHertz | None = Field(
        default=None, description="frequency at which it shows 3 dB less, by its data sheet"
    )
    origin: ProbeOrigin | None = Field(
        default=None, description="where ratio and accuracy come from; written by the program from `calibration`"
    )

    @property
    def units_per_volt(self) -> float:
        """Volts at the tip for a volt at the oscilloscope."""
        return self.ratio

    @property
    def stated_units_per_volt(self) -> float:
        """The same as the bench file itself says, without a calibration file."""
        return self.ratio if self.origin is None else self.origin.before.ratio

    @property
    def stated_accuracy(self) -> float:
        """The accuracy that the bench file itself says."""
        return self.accuracy if self.origin is None else self.origin.before.accuracy


class DifferentialProbe(_VoltageProbe):
    """A probe whose two tips may sit anywhere."""

    kind: Literal["differential"] = Field(description="two tips, neither of them earthed")


class SingleEndedProbe(_VoltageProbe):
    """A probe whose second lead is the oscilloscope's earth."""

    kind: Literal["single-ended"] = Field(description="one tip; the second lead is the oscilloscope's earth")


class CurrentClamp(Part):
    """A clamp that turns a current into a voltage."""

    kind: Literal["current clamp"] = Field(description="a clamp around the lead")
    sensitivity_v_per_a: Annotated[VoltsPerAmpere, bounded("V/A", above=0)] = Field(
        description="voltage that it gives for a current, such as `10 mV/A`"
    )
    rating_a: PositiveAmperes = Field(description="highest current, peak")
    accuracy: Tolerance = Field(description="accuracy of its sensitivity")
    origin: ClampOrigin | None = Field(
        default=None, description="where these values come from; written by the program from `calibration`"
    )

    @property
    def units_per_volt(self) -> float:
        """Amperes in the clamp for a volt at the oscilloscope."""
        return 1.0 / self.sensitivity_v_per_a

    @property
    def stated_units_per_volt(self) -> float:
        """The same as the bench file itself says, without a calibration file."""
        return 1.0 / (self.sensitivity_v_per_a if self.origin is None else self.origin.before.sensitivity_v_per_a)

    @property
    def stated_accuracy(self) -> float:
        """The accuracy that the bench file itself says."""
        return self.accuracy if self.origin is None else self.origin.before.accuracy


VoltageProbe = Annotated[DifferentialProbe | SingleEndedProbe, Field(discriminator="kind")]
CurrentProbe = Annotated[CurrentClamp, Field()]


class VoltageWiring(Part):
    """A voltage on an oscilloscope channel."""

    oscilloscope: ScopeChannel = Field(description="the oscilloscope's channel")
    probe: VoltageProbe = Field(
        description="what is between the signal and the channel: a differential or a single-ended probe"
    )


class CurrentWiring(Part):
    """A current on an oscilloscope channel."""

    oscilloscope: ScopeChannel = Field(description="the oscilloscope's channel")
    probe: CurrentProbe


@dataclass(frozen=True)
class Trigger:
    """What starts a record: the external trigger input, or a channel that carries the generator's sync output."""

    channel: int | None = None

    @property
    def is_external(self) -> bool:
        """Whether the external trigger input is used."""
        return self.channel is None


_TRIGGER = {"type": "string", "pattern": "^(external|channel [1-8])$", "examples": ["external", "channel 4"]}


def _parse_trigger(text: str) -> Trigger:
    channel = re.fullmatch(r"channel ([1-8])", text)
    if text != "external" and channel is None:
        raise ValueError(
            f"{quote(text)} is not accepted; write 'external' or, for the sync output on a channel, 'channel 4'"
        )
    return Trigger(int(channel.group(1)) if channel else None)


class Signals(Part):
    """What each oscilloscope channel is wired to."""

    outputs: dict[ChannelName, VoltageWiring] = Field(
        min_length=1, description="for each amplifier channel, the oscilloscope channel and the probe at its output"
    )
    supply_current: CurrentWiring | None = Field(
        default=None, description="a clamp around the supply lead; if left out, the supply's own reading is used"
    )
    supply_voltage: VoltageWiring | None = Field(
        default=None,
        description="a probe at the amplifier's supply terminals; if left out, there is no "
        "`supply_voltage` unless something else measures there",
    )
    trigger: Annotated[Trigger, reading_as(_parse_trigger), WithJsonSchema(_TRIGGER)] = Field(
        default=Trigger(),
        json_schema_extra={"default": "external"},
        description="`external`, or the channel that carries the generator's sync output",
    )

    def wirings(self) -> tuple[tuple[str, VoltageWiring | CurrentWiring], ...]:
        """Every wired signal by the name its trace has in a capture: `output A`, `supply current`, `supply voltage`."""
        outputs = tuple((f"output {name}", wiring) for name, wiring in self.outputs.items())
        supply = (("supply current", self.supply_current), ("supply voltage", self.supply_voltage))
        return (*outputs, *((name, wiring) for name, wiring in supply if wiring is not None))

    def shared_problems(self, *, probes_are_moved: bool) -> Iterator[PathProblem]:
        """Oscilloscope channels that carry two signals; outputs may share one where a hand moves the probe."""
        seen: dict[int, str] = {}
        for name, wiring in self.wirings():
            channel = wiring.oscilloscope
            before = seen.setdefault(channel, name)
            if before is name or (probes_are_moved and before.startswith("output ") and name.startswith("output ")):
                continue
            hint = ""
            if before.startswith("output ") and name.startswith("output "):
                hint = "; if one probe serves both, say 'probes: {by: hand}' in this file"
            yield PathProblem((*_path(name), "oscilloscope"), f"channel {channel} carries {before} already{hint}")
        if self.trigger.channel in seen:
            yield PathProblem(
                ("trigger",), f"channel {self.trigger.channel} carries {seen[self.trigger.channel]} already"
            )


def _path(signal: str) -> tuple[str, ...]:
    return ("outputs", signal.removeprefix("output ")) if signal.startswith("output ") else (signal.replace(" ", "_"),)


class BridgedWiring(Part):
    """The probe across two bridged outputs. Loads across them name the pair as their channel, such as `A+B`."""

    pair: Pair = Field(description="the outputs; the probe lies between the first one's + and the second one's -")
    oscilloscope: ScopeChannel = Field(description="the oscilloscope's channel, which may be that of an output")
    probe: VoltageProbe = Field(description="what is between the pair and the channel; it must not be earthed")

    @property
    def name(self) -> str:
        """Of the pair, as one channel: `A+B`."""
        return "+".join(self.pair)

    @property
    def across(self) -> VoltageWiring:
        """As the wiring of one output."""
        return VoltageWiring(oscilloscope=self.oscilloscope, probe=self.probe)


class TurnOnBySupply(Part):
    """A second supply output feeds the remote turn-on lead."""

    by: Literal["supply"] = Field(description="a second output of the supply feeds it")
    output: OutputName = Field(description="name of the supply output")
    voltage_v: PositiveVolts = Field(default=12.0, description="voltage to set that output to")


class TurnOnByRelay(Part):
    """A relay of the load's relay bank connects the remote turn-on lead."""

    by: Literal["relay"] = Field(description="a relay of the load's bank connects it")
    relay: RelayNumber = Field(description="number of the relay that connects it")


class TurnOnByHand(Part):
    """A person connects the remote turn-on lead when asked."""

    by: Literal["hand"] = Field(description="a person connects it when asked")


RemoteTurnOn = Annotated[TurnOnBySupply | TurnOnByRelay | TurnOnByHand, Field(discriminator="by")]


class InputsByRelay(Part):
    """Relays of the load's relay bank connect the generator to the amplifier's inputs, one each; where one is open,
    the input is terminated."""

    by: Literal["relay"] = Field(description="relays of the load's bank connect the generator to the inputs")
    relays: dict[ChannelName, RelayNumber] = Field(
        min_length=1, description="for each amplifier channel, the number of the relay at its input"
    )


class InputsByHand(Part):
    """A person moves the plugs when asked: the generator's into one input, a shorting plug into each other."""

    by: Literal["hand"] = Field(description="a person moves the plugs when asked")


class InputsByGenerator(Part):
    """Each input has an output of the generator of its own; one whose output is off is not driven."""

    by: Literal["generator"] = Field(description="each input has an output of the generator of its own")
    outputs: dict[ChannelName, GeneratorOutput] = Field(
        min_length=1, description="for each amplifier channel, the number of the generator's output at its input"
    )

    def problems(self) -> Iterator[PathProblem]:
        seen: dict[int, str] = {}
        for channel, output in self.outputs.items():
            if output in seen:
                yield PathProblem(("outputs", channel), f"output {output} feeds input {seen[output]} already")
            seen.setdefault(output, channel)


Inputs = Annotated[InputsByRelay | InputsByHand | InputsByGenerator, Field(discriminator="by")]


def _missing(name: str, there_are: Sequence[str]) -> str:
    near = nearest(name, there_are)
    hint = f"did you mean '{near}'?" if near else f"there are {', '.join(there_are)}" if there_are else "there is none"
    return f"nothing is called '{name}' under 'instruments'; {hint}"


class Bench(Document):
    """A whole bench file."""

    title: Line = Field(description="what the bench is called")
    workshop: Workshop | None = Field(default=None, description="whose bench it is, and who tests")
    calibration: FileName | None = Field(
        default=None,
        description="a calibration file beside this file, as `benchctl calibrate` writes it; its values take the place "
        "of those of load resistors, probes, clamp and leads in this file",
        examples=["calibration.yaml"],
    )
    instruments: Instruments
    signals: Signals
    remote_turn_on: RemoteTurnOn | None = Field(
        default=None, description="what wakes the amplifier; leave it out if nothing does"
    )
    inputs: Inputs | None = Field(
        default=None,
        description="how one input is driven alone; leave it out if the generator feeds all inputs together",
    )
    bridged: tuple[BridgedWiring, ...] = Field(
        default=(), description="for sequences that bridge outputs: where the probe across each pair is"
    )
    loads: LoadsByHand | None = Field(
        default=None,
        description="load resistors that a person connects; leave it out where an instrument switches the load",
    )
    probes: ProbesByHand | None = Field(
        default=None,
        description="give `{by: hand}` where one probe serves several outputs, which then share an oscilloscope "
        "channel; leave it out where each output has a probe of its own",
    )
    unwatched: tuple[Unwatched, ...] = Field(
        default=(),
        description="what nothing on this bench watches, such as `heatsink` or `output B`; preflight then warns instead"
        " of refusing, and what would wait for a temperature takes a stated time",
    )
    limits: Limits = Field(
        default_factory=Limits, description="what this bench can bear; these limits hold under every sequence"
    )
    simulation: BenchSimulation | None = Field(
        default=None, description="settings for a dry run; only the simulator reads them"
    )

    _drivers: Mapping[str, Driver] = PrivateAttr(default_factory=dict)

    @property
    def drivers(self) -> Mapping[str, Driver]:
        """Role -> the driver file that the bench file names for it, as it was read with the bench file."""
        return self._drivers

    @property
    def load(self) -> RelayBank | ElectronicLoad | LoadsByHand | None:
        """What loads the amplifier, be it an instrument or resistors that a person connects."""
        return self.loads or self.instruments.load

    @property
    def load_resistors(self) -> Sequence[LoadResistor]:
        """The load resistors, behind relays or connected by hand; none where the load is electronic."""
        load = self.load
        return load.resistors if isinstance(load, RelayBank | LoadsByHand) else ()

    def origins(self) -> Iterator[tuple[str, Origin]]:
        """Each thing whose values come from a calibration file."""
        yield from ((each.name, each.origin) for each in self.load_resistors if each.origin is not None)
        for name, wiring in self.signals.wirings():
            if wiring.probe.origin is not None:
                what = "the clamp" if isinstance(wiring, CurrentWiring) else f"the probe of {name}"
                yield what, wiring.probe.origin
        supply = self.instruments.supply
        if supply is not None and supply.main.origin is not None:
            yield "the supply's leads", supply.main.origin

    def turn_on_lead_of(self, amplifier: Amplifier) -> RemoteTurnOn | None:
        """What feeds this amplifier's remote turn-on lead; None for one that has none and wakes with its supply."""
        return None if amplifier.remote_turn_on is None else self.remote_turn_on

    def problems(self) -> Iterator[PathProblem]:
        for problem in self.signals.shared_problems(probes_are_moved=self.probes is not None):
            yield PathProblem(("signals", *problem.path), problem.message)
        yield from self._load_problems()
        yield from self._unwatched_problems()
        yield from self._limit_problems()
        yield from self._simulation_problems()
        if isinstance(self.inputs, InputsByRelay):
            yield from self._input_problems(self.inputs)
        if isinstance(self.inputs, InputsByGenerator):
            yield from self._unwired_inputs("outputs", self.inputs.outputs)
        match self.remote_turn_on:
            case TurnOnBySupply() as by_supply:
                yield from self._supply_problems(by_supply)
            case TurnOnByRelay() as by_relay:
                yield from self._relay_problems(by_relay)

    def _simulation_problems(self) -> Iterator[PathProblem]:
        if self.simulation is None:
            return
        others = [self.remote_turn_on.relay] if isinstance(self.remote_turn_on, TurnOnByRelay) else []
        others += self.inputs.relays.values() if isinstance(self.inputs, InputsByRelay) else []
        signals = [name for name, _ in self.signals.wirings()]
        for problem in simulated_problems(self.simulation.instruments, self.instruments):
            yield PathProblem(("simulation", "instruments", *problem.path), problem.message, is_key=problem.is_key)
        for problem in fault_problems(self.simulation.faults, self.instruments, others, signals):
            yield PathProblem(("simulation", "faults", *problem.path), problem.message)

    def _load_problems(self) -> Iterator[PathProblem]:
        load, known = self.load, self._known_outputs
        if self.loads is not None and self.instruments.load is not None:
            yield PathProblem(("loads",), "an instrument switches the load already; keep one of them", is_key=True)
        if load is None:
            return
        wired: list[tuple[tuple[str | int, ...], str]]
        at = ("loads",) if self.loads is not None else ("instruments", "load")
        if load.kind == "electronic":
            wired = [(("channel",), load.channel)]
        else:
            wired = [(("resistors", index, "channel"), each.channel) for index, each in enumerate(load.resistors)]
        for path, channel in wired:
            if channel not in known:
                names = ", ".join(known)
                yield PathProblem((*at, *path), f"no output '{channel}' under 'signals'; there are {names}")

    @property
    def _known_outputs(self) -> tuple[str, ...]:
        """Those that have a probe, and those that are said to have none."""
        pairs = (wiring.name for wiring in self.bridged)
        return (*self.signals.outputs, *pairs, *filter(None, map(output_of, self.unwatched)))

    def _unwatched_problems(self) -> Iterator[PathProblem]:
        """What is said to be unwatched and is watched after all."""
        yield from doubled(self.unwatched, "unwatched")
        thermometer = self.instruments.thermometer
        sensors = dict(thermometer.channels.items()) if thermometer is not None else {}
        for index, what in enumerate(self.unwatched):
            if what in sensors:
                there = f"the thermometer reads it on channel {sensors[what]}"
            elif output_of(what) in self.signals.outputs:
                there = "it has a probe under 'signals'"
            else:
                continue
            yield PathProblem(("unwatched", index), f"{there}; take it out of one of the two places")

    def _limit_problems(self) -> Iterator[PathProblem]:
        """Limits on what is not there, of this file's own; those of a sequence are preflight's."""
        supply, thermometer = self.instruments.supply, self.instruments.thermometer
        outputs = tuple(supply.outputs) if supply is not None else ()
        sensors = tuple(thermometer.channels.others) if thermometer is not None else ()
        for key, named, there_are in (
            ("supply_outputs", self.limits.supply_outputs, outputs),
            ("temperatures", self.limits.temperatures, sensors),
        ):
            for name in named:
                if name not in there_are:
                    yield PathProblem(("limits", key, name), _missing(name, there_are), is_key=True)

    def _supply_problems(self, lead: TurnOnBySupply) -> Iterator[PathProblem]:
        at = ("remote_turn_on", "output")
        supply = self.instruments.supply
        if supply is None:
            yield PathProblem(at, "there is no supply under 'instruments'")
        elif lead.output == "main":
            yield PathProblem(at, "'main' feeds the amplifier; the remote turn-on lead needs an output of its own")
        elif lead.output not in supply.outputs:
            near = nearest(lead.output, supply.outputs)
            hint = f"did you mean '{near}'?" if near else f"there are {', '.join(supply.outputs)}"
            yield PathProblem(at, f"the supply has no output '{lead.output}'; {hint}")
        elif lead.voltage_v > supply.outputs[lead.output].voltage_v:
            highest = render(supply.outputs[lead.output].voltage_v, "V")
            at_voltage = ("remote_turn_on", "voltage")
            yield PathProblem(
                at_voltage, f"{render(lead.voltage_v, 'V')} is more than output '{lead.output}' can give, {highest}"
            )

    def _input_problems(self, inputs: InputsByRelay) -> Iterator[PathProblem]:
        load = self.instruments.load
        if load is None or load.kind != "relay bank":
            yield PathProblem(("inputs", "by"), "there is no relay bank under 'instruments'")
            return
        taken = {resistor.relay: "a load resistor" for resistor in load.resistors}
        if isinstance(self.remote_turn_on, TurnOnByRelay):
            taken[self.remote_turn_on.relay] = "the remote turn-on lead"
        yield from self._unwired_inputs("relays", inputs.relays)
        for channel, relay in inputs.relays.items():
            at = ("inputs", "relays", channel)
            if relay in taken:
                yield PathProblem(at, f"relay {relay} connects {taken[relay]} already")
            taken.setdefault(relay, f"input {channel}")

    def _unwired_inputs(self, key: str, channels: Iterable[str]) -> Iterator[PathProblem]:
        for channel in channels:
            if channel not in self._known_outputs:
                names = ", ".join(self.signals.outputs)
                message = f"no output '{channel}' under 'signals'; there are {names}"
                yield PathProblem(("inputs", key, channel), message, is_key=True)

    def _relay_problems(self, lead: TurnOnByRelay) -> Iterator[PathProblem]:
        load = self.instruments.load
        if load is None or load.kind != "relay bank":
            yield PathProblem(("remote_turn_on", "by"), "there is no relay bank under 'instruments'")
        elif lead.relay in {resistor.relay for resistor in load.resistors}:
            yield PathProblem(("remote_turn_on", "relay"), f"relay {lead.relay} connects a load resistor already")
