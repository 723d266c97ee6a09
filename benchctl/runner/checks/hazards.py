"""Hazards: what a careful technician would refuse. Each check gives its reason with figures."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchctl.documents.bench_file.bench import Bench, InputsByGenerator, TurnOnByHand
from benchctl.documents.bench_file.by_hand import LoadsByHand
from benchctl.documents.bench_file.instruments import ElectronicLoad, RelayBank
from benchctl.documents.bench_file.offered import loaded_channels
from benchctl.documents.bench_file.sight import seen_outputs, unwatched
from benchctl.documents.bench_file.signals import SingleEndedProbe
from benchctl.documents.driver_file.generator import GeneratorDriver
from benchctl.documents.model.limits import HEATSINK, output_signal
from benchctl.documents.sequence_file.bench_steps import CheckBench, DriveByHand, PowerOff, PowerOn, RampSupply, Set
from benchctl.documents.sequence_file.step_base import StepBase
from benchctl.quantity import render
from benchctl.runner.acting.run import Files
from benchctl.runner.checks import blind_spots, burdens, filters, settable, time_to_safe
from benchctl.runner.checks.lacks import generator as generator_lacks
from benchctl.runner.checks.lacks import oscilloscope as oscilloscope_lacks
from benchctl.runner.checks.lacks import supply as supply_lacks
from benchctl.runner.expected.state import ExpectedState, level_hazards
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.plan import PlannedStep
from benchctl.runner.steps.power import overvoltage_level_v


def of_files(files: Files, *, unattended: bool) -> Iterator[str]:
    """The hazards of the documents together, independent of a step."""
    yield from _wiring(files)
    yield from _inputs(files)
    yield from _probes(files)
    yield from _turn_on(files, unattended=unattended)
    yield from _loads_by_hand(files, unattended=unattended)
    yield from _sensors(files)
    yield from blind_spots.hazards_of(files)
    yield from supply_lacks.hazards_of(files, unattended=unattended)
    yield from oscilloscope_lacks.hazards_of(files)
    yield from time_to_safe.hazards_of(files.bench, unattended=unattended)
    yield from generator_lacks.hazards_of(files, unattended=unattended)


def of_plan(plan: Sequence[PlannedStep]) -> Iterator[str]:
    """Where the sequence would switch on an amplifier that is on already."""
    on_since: PlannedStep | None = None
    for planned in plan:
        if isinstance(planned.step, PowerOn | RampSupply):
            if on_since is not None:
                yield f"{planned.label}: the amplifier is on already, since {on_since.label}; give 'power_off' between"
            on_since = planned
        elif isinstance(planned.step, PowerOff):
            on_since = None


def _wiring(files: Files) -> Iterator[str]:
    said = unwatched(files.bench, files.amplifier)
    for channel in files.amplifier.channels:
        if channel not in files.bench.signals.outputs and f"output {channel}" not in said:
            yield (
                f"the amplifier's output {channel} is not wired to the oscilloscope, so nothing of it can be seen; "
                f"wired are {', '.join(files.bench.signals.outputs)}; add it under 'signals' in the bench file, or say "
                f"that it is not measured, 'unwatched: [output {channel}]'"
            )
    if not seen_outputs(files.bench, files.amplifier):
        yield "no output of the amplifier is seen, so nothing can be measured; put a probe on one at least"


def _inputs(files: Files) -> Iterator[str]:
    """Where the generator has an output for each input, no other step drives all of them."""
    inputs, driver = files.bench.inputs, files.bench.drivers.get("generator")
    if not isinstance(inputs, InputsByGenerator):
        return
    if missing := [channel for channel in files.amplifier.channels if channel not in inputs.outputs]:
        yield f"no output of the generator feeds input {' and '.join(missing)}; give it one under 'inputs'"
    if isinstance(driver, GeneratorDriver) and not driver.commands.choose_outputs and len(inputs.outputs) > 1:
        yield (
            "each input has an output of the generator, and the generator's driver has no words for more than one; "
            "name a driver whose commands use {output}, such as generator/scpi99_outputs"
        )


def _probes(files: Files) -> Iterator[str]:
    if files.amplifier.outputs != "floating":
        return
    for channel, wiring in files.bench.signals.outputs.items():
        if channel in files.amplifier.channels and isinstance(wiring.probe, SingleEndedProbe):
            yield (
                f"output {channel} is floating and its probe, on oscilloscope channel {wiring.oscilloscope}, "
                "is single-ended: its earth lead would short half of the output stage; use a differential probe"
            )


def _turn_on(files: Files, *, unattended: bool) -> Iterator[str]:
    wanted, lead = files.amplifier.remote_turn_on, files.bench.turn_on_lead_of(files.amplifier)
    if wanted is not None and lead is None:
        yield (
            f"the amplifier has a remote turn-on lead, which needs {render(wanted.voltage_v, 'V')}, and nothing on the "
            "bench feeds it: it would stay asleep; say in the bench file what does, 'remote_turn_on: {by: ...}'"
        )
    if isinstance(lead, TurnOnByHand) and unattended:
        yield (
            "the remote turn-on lead is switched by hand, and nobody is present in an unattended run; "
            "feed it from a supply output or a relay, or be present"
        )


def _loads_by_hand(files: Files, *, unattended: bool) -> Iterator[str]:
    loads = files.bench.loads
    if loads is not None and loads.connected_ohm is None and unattended:
        yield (
            "a person connects the loads, and nobody is present in an unattended run; connect them before, and say in "
            "the bench file which they are, 'connected: 4 ohm' under 'loads'; or be present"
        )


def _sensors(files: Files) -> Iterator[str]:
    thermometer, said = files.bench.instruments.thermometer, unwatched(files.bench, files.amplifier)
    channels = dict(thermometer.channels.items()) if thermometer is not None else {}
    for limits, origin in ((files.sequence.limits, "sequence"), (files.bench.limits, "bench")):
        for signal, bound in limits.items():
            if signal in said:
                continue
            missing = _missing_sensor(files.bench, signal, channels)
            if missing:
                yield (
                    f"the {origin} limits {signal} ({bound}) and the bench has no {missing} that reads it; what cannot "
                    "be read counts as passed; add the sensor to the bench file, or remove the limit"
                )
    if HEATSINK not in channels and HEATSINK not in said:
        maximum = render(files.amplifier.heatsink.maximum_c, "degC")
        yield (
            f"no thermometer channel is on the heatsink, so its maximum of {maximum} cannot be watched; "
            "give its channel in the bench file, 'channels: {heatsink: ...}', or say that nothing watches it, "
            "'unwatched: [heatsink]'"
        )


def _missing_sensor(bench: Bench, signal: str, channels: dict[str, int]) -> str:
    if signal.startswith("supply_"):
        return _missing_output(bench, signal)
    if signal == "output_offset":
        return "" if bench.instruments.oscilloscope is not None else "oscilloscope"
    return "" if signal in channels else "thermometer channel"


def _missing_output(bench: Bench, signal: str) -> str:
    supply = bench.instruments.supply
    if supply is None:
        return "supply"
    is_there = any(signal == output_signal(what, name) for name in supply.outputs for what in ("voltage", "current"))
    return "" if is_there else "supply output"


def of_step(step: StepBase, worst: WorstCase, state: ExpectedState) -> Iterator[str]:
    """The hazards of one step in the state that the bench will be in."""
    yield from _roles(step, state)
    yield from generator_lacks.hazards_of_step(step, state)
    if (switched := _switched_on_by(step)) is not None:
        yield from _supply(switched, state)
    if isinstance(step, Set):
        yield from _setting(step, state)
    for load_ohm in getattr(step, "loads_ohm", ()):
        yield from _load(load_ohm, state)
    yield from _not_set_yet(step.STATE, state)
    yield from _generator(step, state)
    yield from filters.hazards_of(step, state)
    yield from burdens.hazards_of(worst, state)
    yield from settable.hazards_of(step, state)


def _switched_on_by(step: StepBase) -> PowerOn | RampSupply | None:
    """How a step switches the amplifier on, if it does; by hand a person does it within the step."""
    if isinstance(step, DriveByHand | CheckBench):
        return PowerOn(voltage_v=step.voltage_v, current_limit_a=step.current_limit_a)
    return step if isinstance(step, PowerOn | RampSupply) else None


def _generator(step: StepBase, state: ExpectedState) -> Iterator[str]:
    generator = state.bench.instruments.generator
    if generator is None:
        return
    highest_hz = generator.ratings.frequency_hz
    level_v = getattr(step, "to_v", None)
    frequency_hz = getattr(step, "frequency_hz", None)
    if level_v is not None:
        yield from level_hazards(level_v, state.bench)
    if frequency_hz is not None and frequency_hz > highest_hz:
        yield f"{render(frequency_hz, 'Hz')} is more than the generator gives; stay within {render(highest_hz, 'Hz')}"


def _roles(step: StepBase, state: ExpectedState) -> Iterator[str]:
    bench = state.bench
    present = {name for name, _ in bench.instruments.items()} | ({"load"} if bench.loads is not None else set())
    if HEATSINK in unwatched(bench, state.amplifier):
        present.add("thermometer")  # a stated time takes its place
    for role in step.roles:
        if role not in present:
            yield f"needs {_a(role)}, and the bench file has none; add it under 'instruments', or leave the step out"


def _a(role: str) -> str:
    return f"an {role}" if role[0] in "aeiou" else f"a {role}"


def _setting(step: Set, state: ExpectedState) -> Iterator[str]:
    if step.load_ohm is not None:
        yield from _load(step.load_ohm, state)
    if step.supply_v is not None:
        yield from _supply_voltage(step.supply_v, state)


def _supply_voltage(voltage_v: float, state: ExpectedState) -> Iterator[str]:
    bears, supply = state.amplifier.supply, state.bench.instruments.supply
    if voltage_v > bears.maximum_v:
        yield f"{render(voltage_v, 'V')} is more than the amplifier bears; stay within {render(bears.maximum_v, 'V')}"
    if voltage_v < bears.minimum_v:
        yield f"{render(voltage_v, 'V')} is less than the amplifier needs; give {render(bears.minimum_v, 'V')} or more"
    if supply is not None and voltage_v > supply.main.voltage_v:
        yield (
            f"{render(voltage_v, 'V')} is more than the supply's output 'main' gives; "
            f"stay within {render(supply.main.voltage_v, 'V')}"
        )
    yield from _supply_probe(voltage_v, state.bench)


def _supply_probe(voltage_v: float, bench: Bench) -> Iterator[str]:
    wiring, oscilloscope = bench.signals.supply_voltage, bench.instruments.oscilloscope
    if wiring is None:
        return
    probe = wiring.probe
    if voltage_v > probe.rating_v:
        yield (
            f"{render(voltage_v, 'V')} is more than the probe on the supply is rated, {render(probe.rating_v, 'V')}; "
            "use one rated for it"
        )
    elif oscilloscope is not None and voltage_v / probe.ratio > oscilloscope.ratings.input_v:
        yield (
            f"the supply puts {render(voltage_v / probe.ratio, 'V')} on oscilloscope channel {wiring.oscilloscope}, "
            f"which takes {render(oscilloscope.ratings.input_v, 'V')}; "
            f"use a probe of a higher ratio than {probe.ratio:g}"
        )


def _supply(step: PowerOn | RampSupply, state: ExpectedState) -> Iterator[str]:
    yield from _supply_voltage(step.voltage_v, state)
    yield from _over_voltage(step, state)
    supply = state.bench.instruments.supply
    if supply is not None and step.current_limit_a > supply.main.current_a:
        yield (
            f"a current limit of {render(step.current_limit_a, 'A')} is more than the supply's output 'main' gives; "
            f"stay within {render(supply.main.current_a, 'A')}"
        )


def _over_voltage(step: PowerOn | RampSupply, state: ExpectedState) -> Iterator[str]:
    bears_v = state.amplifier.supply.maximum_v
    if isinstance(step, PowerOn) and step.overvoltage_v is not None and step.overvoltage_v > bears_v:
        yield (
            f"over-voltage protection at {render(step.overvoltage_v, 'V')} does not protect an amplifier that bears "
            f"{render(bears_v, 'V')}; give no more than that, or leave 'overvoltage' out"
        )
    yield from supply_lacks.coarse_protection(step.voltage_v, overvoltage_level_v(step, state.amplifier), state.bench)


def _load(load_ohm: float, state: ExpectedState) -> Iterator[str]:
    least = state.amplifier.minimum_load_ohm
    if load_ohm < least * 0.999:
        yield (
            f"{render(load_ohm, 'ohm')} is below the amplifier's minimum load of {render(least, 'ohm')}; "
            "connect no less"
        )
    load = state.bench.load
    if load is None:
        yield (
            f"{render(load_ohm, 'ohm')} cannot be connected: the bench file has no load; add it under 'instruments', "
            "or resistors that you connect by hand under 'loads'"
        )
        return
    loaded = loaded_channels(state.bench, load_ohm)
    missing = [channel for channel in state.amplifier.channels if channel not in loaded]
    if missing:
        yield (
            f"the bench has no {render(load_ohm, 'ohm')} load at channel {' and '.join(missing)}; "
            f"there {_loads_in_words(load, missing)}"
        )


def _loads_in_words(load: RelayBank | LoadsByHand | ElectronicLoad, channels: Sequence[str]) -> str:
    """What could be connected at these channels instead."""
    if isinstance(load, ElectronicLoad):
        span = load.ratings.resistance
        reach = f"{render(span.minimum_ohm, 'ohm')} to {render(span.maximum_ohm, 'ohm')}"
        return f"is one of {reach} at channel {load.channel} alone"
    values = sorted({each.nominal_ohm for each in load.resistors if each.channel in channels})
    return f"are {' and '.join(render(value, 'ohm') for value in values)}" if values else "is none"


def _not_set_yet(wanted: Sequence[str], state: ExpectedState) -> Iterator[str]:
    if "power" in wanted and state.supply_v is None:
        yield "the amplifier is off: 'power_on' comes first"
    if "load" in wanted and state.load_ohm is None:
        yield "no load is connected: 'set' or 'sweep' a load first"
    if "frequency" in wanted and state.frequency_hz is None:
        yield "no frequency is set: 'set' or 'sweep' a frequency first"
