"""Bench files: the user's instruments, what is wired to what, and what the bench bears."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Annotated, Literal

from pydantic import Field, PrivateAttr

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.by_hand import LoadsByHand, ProbesByHand
from benchctl.documents.bench_file.faults import fault_problems
from benchctl.documents.bench_file.instruments import ElectronicLoad, Instruments, RelayBank
from benchctl.documents.bench_file.resistors import LoadResistor
from benchctl.documents.bench_file.signals import BridgedWiring, CurrentWiring, Signals
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
    PositiveVolts,
    RelayNumber,
    Unwatched,
)
from benchctl.documents.model.limits import Limits, output_of
from benchctl.documents.model.model_base import Document, Part, PathProblem, doubled
from benchctl.documents.model.origin import Origin
from benchctl.documents.text.words import nearest
from benchctl.quantity import render


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
