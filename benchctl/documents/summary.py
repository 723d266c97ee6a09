"""What a document says, in a few lines, so that a technician can check it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.amplifier_file.unit import Unit
from benchctl.documents.bench_file.bench import Bench, InputsByGenerator, InputsByRelay, TurnOnByRelay, TurnOnBySupply
from benchctl.documents.bench_file.by_hand import LoadsByHand
from benchctl.documents.bench_file.instruments import (
    ElectronicLoad,
    Generator,
    Instrument,
    Multimeter,
    Oscilloscope,
    RelayBank,
    Supply,
    Thermometer,
)
from benchctl.documents.bench_file.signals import CurrentClamp, CurrentWiring, VoltageWiring
from benchctl.documents.bench_file.workshop import Workshop
from benchctl.documents.calibration_file.calibration import (
    CalibratedClamp,
    CalibratedLeads,
    CalibratedProbe,
    CalibratedResistor,
    Calibration,
)
from benchctl.documents.driver_file.driver import Driver
from benchctl.documents.model.model_base import Document
from benchctl.documents.sequence_file.sequence import Sequence as SequenceFile
from benchctl.documents.sequence_file.summary import sequence_rows
from benchctl.documents.text.words import listed
from benchctl.quantity import render

Row = tuple[str, str]


@dataclass(frozen=True)
class Summary:
    """A document's kind and title, and rows of what it says: several rows of one name follow each other."""

    kind: str
    title: str
    rows: tuple[Row, ...]

    def by_name(self) -> Mapping[str, list[str]]:
        """The rows of each name."""
        found: dict[str, list[str]] = {}
        for name, text in self.rows:
            found.setdefault(name, []).append(text)
        return found


def summary(document: Document) -> Summary:
    """What a document says."""
    match document:
        case SequenceFile():
            return Summary("sequence", document.title, tuple(sequence_rows(document)))
        case Bench():
            return Summary("bench", document.title, tuple(_bench(document)))
        case Calibration():
            return Summary("calibration", document.title, tuple(_calibration(document)))
        case Amplifier():
            return Summary("amplifier", document.title, tuple(_amplifier(document)))
        case _:
            driver: Any = document
            return Summary("driver", driver.title, tuple(_driver(driver)))


# -- amplifier -----------------------------------------------------------------------------------------------------


def _amplifier(amplifier: Amplifier) -> Iterator[Row]:
    serial = [f"serial {amplifier.serial}"] if amplifier.serial else []
    yield "unit", ", ".join([f"class {amplifier.amplifier_class}", *serial])
    yield from _people(amplifier.unit)
    count = len(amplifier.channels)
    channels = f"{count} channel{'s' if count > 1 else ''} {listed(amplifier.channels)}"
    yield "outputs", f"{channels}, {amplifier.outputs}; no load below {render(amplifier.minimum_load_ohm, 'ohm')}"
    for line in amplifier.rated:
        power, load = render(line.power_w, "W"), render(line.load_ohm, "ohm")
        yield (
            "rated",
            f"{power} into {load} at each channel, all of them driven, at {render(line.thd_n, '1')} distortion",
        )
    yield "gain", f"{_decibels(amplifier.gain_ratio)} with the controls as tested"
    supply = amplifier.supply
    reach = f"{render(supply.minimum_v, 'V')} to {render(supply.maximum_v, 'V')}"
    rails = f", {amplifier.rails} rails" if amplifier.rails else ""
    yield "supply", f"{render(supply.nominal_v, 'V')} ({reach}), fuse {render(supply.fuse_a, 'A')}{rails}"
    idle = render(amplifier.idle_current_a, "A") if amplifier.idle_current_a else "not said"
    yield "idle current", idle
    lead = amplifier.remote_turn_on
    wakes = f"by {render(lead.voltage_v, 'V')}, plays {render(lead.delay_s, 's')} later" if lead else "with its supply"
    yield "wakes", wakes
    yield "heatsink", f"at most {render(amplifier.heatsink.maximum_c, 'degC')}{_warming(amplifier)}"
    if amplifier.unwatched:
        yield "unwatched", ", ".join(amplifier.unwatched)
    yield "dry run", "physics of its own" if amplifier.simulation is not None else "physics derived from the ratings"


def _warming(amplifier: Amplifier) -> str:
    stated = amplifier.heatsink.resistance_k_per_w
    return f", {stated:g} K/W to the air, time constant {amplifier.heatsink.time_constant_s:g} s" if stated else ""


# -- bench ---------------------------------------------------------------------------------------------------------


def _people(part: Unit | Workshop | None) -> Iterator[Row]:
    for name, said in part or ():
        if said:
            yield name.replace("_", " "), "yes" if said is True else str(said)


def _bench(bench: Bench) -> Iterator[Row]:
    yield from ((f"workshop's {name}", said) for name, said in _people(bench.workshop))
    for role, instrument in bench.instruments.items():
        calibrated = f", calibrated {instrument.calibrated}" if instrument.calibrated else ", not calibrated"
        position = f"{instrument.driver} at {instrument.address}"
        yield role, f"{_RATINGS[type(instrument)](instrument)}; {position}{calibrated}"
    for name, wiring in bench.signals.wirings():
        yield "wired", f"{name} on oscilloscope channel {wiring.oscilloscope} by a {_probe(wiring)}"
    yield "trigger", _trigger(bench)
    if bench.probes is not None:
        yield "wired", "outputs that share an oscilloscope channel take turns: a person moves the probe"
    yield from (("loads", text) for text in _loads(bench))
    if bench.loads is not None:
        connected = bench.loads.connected_ohm
        yield "loads", "connected by hand; to begin with, " + (render(connected, "ohm") if connected else "none")
    yield "turn-on lead", _lead(bench)
    yield "inputs", _inputs(bench)
    for what, origin in bench.origins():
        yield "calibrated", f"{what}: {origin}"
    if bench.unwatched:
        yield "unwatched", ", ".join(bench.unwatched)
    for signal, limit in bench.limits.items():
        yield "limit", f"{signal} {limit}"


def _generator(instrument: Generator) -> str:
    ratings = instrument.ratings
    return f"up to {render(ratings.level_v, 'V')} and {render(ratings.frequency_hz, 'Hz')}"


def _oscilloscope(instrument: Oscilloscope) -> str:
    ratings = instrument.ratings
    speed, depth = render(ratings.sample_rate_hz, "Sa/s"), f"{ratings.memory:,} samples"
    return f"{ratings.bits} bits, {speed}, {depth}, inputs to {render(ratings.input_v, 'V')}"


def _supply(instrument: Supply) -> str:
    outputs = (
        f"{name} {render(output.voltage_v, 'V')} {render(output.current_a, 'A')}"
        for name, output in instrument.outputs.items()
    )
    return f"outputs {', '.join(outputs)}"


def _thermometer(instrument: Thermometer) -> str:
    return ", ".join(f"{name} on channel {channel}" for name, channel in instrument.channels.items())


def _multimeter(instrument: Multimeter) -> str:
    return ", ".join(
        f"{point.measures} of {name}" + (f" on channel {point.channel}" if point.channel is not None else " by hand")
        for name, point in instrument.points.items()
    )


def _bank(instrument: RelayBank) -> str:
    count = len(instrument.resistors)
    return f"{count} resistor{'s' if count > 1 else ''} behind relays"


def _electronic(instrument: ElectronicLoad) -> str:
    span = instrument.ratings.resistance
    return f"electronic, {render(span.minimum_ohm, 'ohm')} to {render(span.maximum_ohm, 'ohm')}"


_RATINGS: Mapping[type[Instrument], Callable[[Any], str]] = {
    Generator: _generator,
    Oscilloscope: _oscilloscope,
    RelayBank: _bank,
    ElectronicLoad: _electronic,
    Supply: _supply,
    Thermometer: _thermometer,
    Multimeter: _multimeter,
}


def _probe(wiring: VoltageWiring | CurrentWiring) -> str:
    probe = wiring.probe
    if isinstance(probe, CurrentClamp):
        return f"clamp, {probe.sensitivity_v_per_a * 1e3:g} mV/A, to {render(probe.rating_a, 'A')}"
    return f"{probe.kind} probe, {probe.ratio:g}:1, to {render(probe.rating_v, 'V')}"


def _trigger(bench: Bench) -> str:
    trigger = bench.signals.trigger
    return "external" if trigger.is_external else f"the generator's sync output on channel {trigger.channel}"


def _loads(bench: Bench) -> Iterator[str]:
    load = bench.load
    if isinstance(load, RelayBank | LoadsByHand):
        for channel in bench.signals.outputs:
            own = [each for each in load.resistors if each.channel == channel]
            words = (f"{render(each.nominal_ohm, 'ohm')} {render(each.rated_power_w, 'W')}" for each in own)
            yield f"at output {channel}: {', '.join(words) or 'none'}"
    elif load is not None:
        yield f"at output {load.channel}: {_electronic(load)}, {render(load.ratings.power_w, 'W')}"


def _lead(bench: Bench) -> str:
    match bench.remote_turn_on:
        case TurnOnBySupply() as lead:
            return f"{render(lead.voltage_v, 'V')} by the supply's output '{lead.output}'"
        case TurnOnByRelay() as lead:
            return f"by relay {lead.relay}"
        case None:
            return "fed by nothing"
        case _:
            return "by hand"


def _inputs(bench: Bench) -> str:
    match bench.inputs:
        case InputsByRelay(relays=relays):
            return "driven alone by relays " + ", ".join(f"{relay} ({channel})" for channel, relay in relays.items())
        case InputsByGenerator(outputs=outputs):
            said = ", ".join(f"{output} ({channel})" for channel, output in outputs.items())
            return f"driven alone by the generator's outputs {said}"
        case None:
            return "all driven together"
        case _:
            return "driven alone by hand"


# -- calibration ---------------------------------------------------------------------------------------------------


def _calibration(calibration: Calibration) -> Iterator[Row]:
    yield "due", str(calibration.due) if calibration.due else "not said"
    for each in calibration.resistors:
        coefficient = each.temperature_coefficient_per_k
        warming = f", {render(coefficient, '1/K')}" if coefficient is not None else ""
        yield "resistor", f"{each.name}: {each.measured_ohm:g} ohm{_how_sure(each.uncertainty, each)}{warming}"
    for signal, probe in calibration.probes.items():
        yield "probe", f"of {signal}: {probe.ratio:g}:1{_how_sure(probe.accuracy, probe)}"
    if (clamp := calibration.clamp) is not None:
        yield "clamp", f"{1e3 * clamp.sensitivity_v_per_a:g} mV/A{_how_sure(clamp.accuracy, clamp)}"
    if (leads := calibration.leads) is not None:
        yield "leads", f"{1e3 * leads.resistance_ohm:g} mohm{_how_sure(leads.uncertainty, leads)}"


def _how_sure(
    uncertainty: float, entry: CalibratedResistor | CalibratedProbe | CalibratedClamp | CalibratedLeads
) -> str:
    how = f", {entry.how}" if entry.how else ""
    return f" ± {render(uncertainty, '1')}, {entry.date}{how}"


# -- driver --------------------------------------------------------------------------------------------------------


# What a driver file need not give, because SCPI and IEEE 488.2 do.
_AS_USUAL = ("reset", "identify", "errors", "power_cycled")


def _driver(driver: Driver) -> Iterator[Row]:
    kind = getattr(driver, "kind", None) or getattr(driver, "preamble", None)
    yield "role", f"{driver.role}, {kind}" if kind else driver.role
    if driver.based_on:
        yield "based on", driver.based_on
    given = [name for name, command in driver.commands if command]
    lacks = [name for name, command in driver.commands if not command and name in driver.commands.model_fields_set]
    left_out = [name for name, _ in driver.commands if name not in driver.commands.model_fields_set]
    yield "commands", f"{len(given)}: {', '.join(given)}"
    if lacks:
        yield "lacks", ", ".join(lacks)
    if as_usual := [name for name in left_out if name in _AS_USUAL and driver.scpi]:
        yield "as usual", f"{', '.join(as_usual)} of SCPI"
    if left_out := [name for name in left_out if name not in as_usual]:
        yield "left out", ", ".join(left_out)
    if trusted := getattr(driver, "trusted", ""):
        yield "trusted", trusted


def _decibels(ratio: float) -> str:
    return f"{20.0 * math.log10(ratio):.4g} dB"
