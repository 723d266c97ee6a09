"""What a careful technician would not let pass: each check says in figures why."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchctl.documents.bench import Bench, SingleEndedProbe, TurnOnByHand
from benchctl.documents.bench_steps import PowerOn, RampSupply, Set, Settle
from benchctl.documents.instruments import RelayBank
from benchctl.documents.limits import output_signal
from benchctl.documents.step_base import StepBase
from benchctl.quantity import render
from benchctl.runner.outlook import Forecast, Outlook
from benchctl.runner.run import Files

# A wirewound resistor bears an overload for seconds in proportion to its thermal mass; common practice allows five
# times its rating for five seconds. Held to half of that.
OVERLOAD_ENERGY_S = 12.5
# A road-vehicle fuse carries 110 % of its rating for 100 h (ISO 8820, from memory).
FUSE_CARRIES = 1.1


def of_files(files: Files, *, unattended: bool) -> Iterator[str]:
    """What speaks against the documents together, whatever the step."""
    yield from _wiring(files)
    yield from _probes(files)
    yield from _turn_on(files, unattended=unattended)
    yield from _sensors(files)


def _wiring(files: Files) -> Iterator[str]:
    for channel in files.amplifier.channels:
        if channel not in files.bench.signals.outputs:
            yield f"the amplifier's output {channel} is not wired to the oscilloscope, so nothing of it can be seen"


def _probes(files: Files) -> Iterator[str]:
    if files.amplifier.outputs != "floating":
        return
    for channel, wiring in files.bench.signals.outputs.items():
        if isinstance(wiring.probe, SingleEndedProbe):
            yield (
                f"output {channel} is floating and its probe, on oscilloscope channel {wiring.oscilloscope}, "
                "is single-ended: its earth lead would short half of the output stage; use a differential probe"
            )


def _turn_on(files: Files, *, unattended: bool) -> Iterator[str]:
    wanted, lead = files.amplifier.remote_turn_on, files.bench.remote_turn_on
    if wanted is not None and lead is None:
        yield "the amplifier has a remote turn-on lead and nothing on the bench feeds it: it would stay asleep"
    if isinstance(lead, TurnOnByHand) and unattended:
        yield "the remote turn-on lead is switched by hand, and nobody is there in an unattended run"


def _sensors(files: Files) -> Iterator[str]:
    thermometer = files.bench.instruments.thermometer
    channels = dict(thermometer.channels.items()) if thermometer is not None else {}
    for limits, origin in ((files.sequence.limits, "sequence"), (files.bench.limits, "bench")):
        for signal, bound in limits.items():
            missing = _missing_sensor(files.bench, signal, channels)
            if missing:
                yield f"the {origin} limits {signal} ({bound}) and the bench has no {missing} that reads it"
    if "heatsink" not in channels:
        yield "no thermometer channel is on the heatsink, so its maximum temperature cannot be watched"


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


def of_step(step: StepBase, forecast: Forecast, outlook: Outlook) -> Iterator[str]:
    """What speaks against one step in the state the bench will be in."""
    yield from _roles(step, outlook.bench)
    if isinstance(step, PowerOn | RampSupply):
        yield from _supply(step, outlook)
    if isinstance(step, Set):
        yield from _setting(step, outlook)
    for load_ohm in getattr(step, "loads_ohm", ()):
        yield from _load(load_ohm, outlook)
    yield from _conditions(step.STATE, outlook)
    yield from _generator(step, outlook)
    yield from _power(forecast, outlook)


def _generator(step: StepBase, outlook: Outlook) -> Iterator[str]:
    generator = outlook.bench.instruments.generator
    if generator is None:
        return
    highest_v, highest_hz = generator.ratings.level_v, generator.ratings.frequency_hz
    level_v = getattr(step, "to_v", None) or getattr(step, "level_v", None)
    frequency_hz = getattr(step, "frequency_hz", None)
    if level_v is not None and level_v > highest_v:
        yield f"a level of {render(level_v, 'V')} is more than the generator gives, {render(highest_v, 'V')}"
    if frequency_hz is not None and frequency_hz > highest_hz:
        yield f"{render(frequency_hz, 'Hz')} is more than the generator gives, {render(highest_hz, 'Hz')}"


def _roles(step: StepBase, bench: Bench) -> Iterator[str]:
    present = {name for name, _ in bench.instruments.items()}
    wanted = step.ROLES
    if isinstance(step, Settle):
        asked = {"thermometer": step.heatsink or step.foretold, "supply": step.supply_current}
        wanted = tuple(role for role, criterion in asked.items() if criterion is not None)
    for role in wanted:
        if role not in present:
            yield f"needs a {role}, and the bench file has none"


def _setting(step: Set, outlook: Outlook) -> Iterator[str]:
    if step.load_ohm is not None:
        yield from _load(step.load_ohm, outlook)
    if step.supply_v is not None:
        yield from _supply_voltage(step.supply_v, outlook)


def _supply_voltage(voltage_v: float, outlook: Outlook) -> Iterator[str]:
    bears, supply = outlook.amplifier.supply, outlook.bench.instruments.supply
    if voltage_v > bears.maximum_v:
        yield f"{render(voltage_v, 'V')} is more than the amplifier bears, {render(bears.maximum_v, 'V')}"
    if voltage_v < bears.minimum_v:
        yield f"{render(voltage_v, 'V')} is less than the amplifier needs, {render(bears.minimum_v, 'V')}"
    if supply is not None and voltage_v > supply.main.voltage_v:
        yield f"{render(voltage_v, 'V')} is more than the supply gives, {render(supply.main.voltage_v, 'V')}"
    yield from _supply_probe(voltage_v, outlook.bench)


def _supply_probe(voltage_v: float, bench: Bench) -> Iterator[str]:
    wiring, oscilloscope = bench.signals.supply_voltage, bench.instruments.oscilloscope
    if wiring is None:
        return
    probe = wiring.probe
    if voltage_v > probe.rating_v:
        yield f"{render(voltage_v, 'V')} is more than the probe on the supply is rated, {render(probe.rating_v, 'V')}"
    elif oscilloscope is not None and voltage_v / probe.ratio > oscilloscope.ratings.input_v:
        yield (
            f"the supply puts {render(voltage_v / probe.ratio, 'V')} on oscilloscope channel {wiring.oscilloscope}, "
            f"which takes {render(oscilloscope.ratings.input_v, 'V')}"
        )


def _supply(step: PowerOn | RampSupply, outlook: Outlook) -> Iterator[str]:
    yield from _supply_voltage(step.voltage_v, outlook)
    supply = outlook.bench.instruments.supply
    if supply is not None and step.current_limit_a > supply.main.current_a:
        yield (
            f"a current limit of {render(step.current_limit_a, 'A')} is more than the supply gives, "
            f"{render(supply.main.current_a, 'A')}"
        )


def _load(load_ohm: float, outlook: Outlook) -> Iterator[str]:
    least = outlook.amplifier.minimum_load_ohm
    if load_ohm < least * 0.999:
        yield f"{render(load_ohm, 'ohm')} is below the amplifier's minimum load of {render(least, 'ohm')}"
    load = outlook.bench.instruments.load
    if load is None:
        yield f"{render(load_ohm, 'ohm')} cannot be connected: the bench file has no load"
        return
    if isinstance(load, RelayBank):
        loaded = set(load.resistors_for(load_ohm))
    else:
        span = load.ratings.resistance
        loaded = {load.channel} if span.minimum_ohm <= load_ohm <= span.maximum_ohm else set()
    missing = [channel for channel in outlook.amplifier.channels if channel not in loaded]
    if missing:
        yield f"the bench has no {render(load_ohm, 'ohm')} load at channel {' and '.join(missing)}"


def _conditions(wanted: Sequence[str], outlook: Outlook) -> Iterator[str]:
    if "power" in wanted and outlook.supply_v is None:
        yield "the amplifier is off: 'power_on' comes first"
    if "load" in wanted and outlook.load_ohm is None:
        yield "no load is connected: 'set' or 'sweep' a load first"
    if "frequency" in wanted and outlook.frequency_hz is None:
        yield "no frequency is set: 'set' or 'sweep' a frequency first"


def _power(forecast: Forecast, outlook: Outlook) -> Iterator[str]:
    load_ohm = forecast.load_ohm or outlook.load_ohm
    if forecast.load_w <= 0 or load_ohm is None:
        return
    yield from _load_power(forecast, load_ohm, outlook)
    yield from _probe_voltage(forecast, outlook)
    yield from _supply_current(forecast, outlook)


def _load_power(forecast: Forecast, load_ohm: float, outlook: Outlook) -> Iterator[str]:
    load = outlook.bench.instruments.load
    if load is None:
        return
    if isinstance(load, RelayBank):
        ratings = {name: r.rated_power_w for name, r in load.resistors_for(load_ohm).items()}
    else:
        ratings = {load.channel: load.ratings.power_w}
    for channel, rated_w in ratings.items():
        excess_j = (forecast.load_w - rated_w) * forecast.for_s
        if excess_j > rated_w * OVERLOAD_ENERGY_S:
            yield (
                f"the {render(load_ohm, 'ohm')} load of channel {channel} is rated {render(rated_w, 'W')}; "
                f"this step may put {render(forecast.load_w, 'W')} into it for {render(forecast.for_s, 's')}"
            )


def _probe_voltage(forecast: Forecast, outlook: Outlook) -> Iterator[str]:
    oscilloscope = outlook.bench.instruments.oscilloscope
    for channel, wiring in outlook.bench.signals.outputs.items():
        probe, peak_v = wiring.probe, forecast.output_peak_v
        if peak_v > probe.rating_v:
            yield (
                f"output {channel} may reach {render(peak_v, 'V')} peak and its probe is rated "
                f"{render(probe.rating_v, 'V')}"
            )
        elif oscilloscope is not None and peak_v / probe.ratio > oscilloscope.ratings.input_v:
            yield (
                f"output {channel} may put {render(peak_v / probe.ratio, 'V')} on oscilloscope channel "
                f"{wiring.oscilloscope}, which takes {render(oscilloscope.ratings.input_v, 'V')}"
            )


def _supply_current(forecast: Forecast, outlook: Outlook) -> Iterator[str]:
    expected_a, fuse_a = forecast.supply_a, outlook.amplifier.supply.fuse_a
    clamp = outlook.bench.signals.supply_current
    if clamp is not None and expected_a > clamp.probe.rating_a:
        yield (
            f"this step may draw {render(expected_a, 'A')} and the current clamp is rated "
            f"{render(clamp.probe.rating_a, 'A')}"
        )
    # A burst of some cycles draws its current from the reservoir; a fuse carries its rating for hours.
    if forecast.for_s < 1.0:
        return
    if outlook.current_limit_a is not None and expected_a > outlook.current_limit_a:
        yield (
            f"this step may draw {render(expected_a, 'A')} and the supply's current limit is "
            f"{render(outlook.current_limit_a, 'A')}"
        )
    if forecast.fuse_a > FUSE_CARRIES * fuse_a:
        yield f"this step may draw {render(forecast.fuse_a, 'A')} and the amplifier's fuse is {render(fuse_a, 'A')}"
