"""From a bench file and an amplifier file to the description of a simulated bench.

Only here do the documents' ratings become the physics of a simulated amplifier. The values of a `simulation:` section
are used as they are; what it leaves out is taken from a `fitted:` section, else derived from the ratings, so that any
bench can be dry-run.
"""

from __future__ import annotations

from dataclasses import replace

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench, InputsByGenerator, InputsByRelay, TurnOnByRelay, TurnOnBySupply
from benchctl.documents.bench_file.by_hand import LoadsByHand
from benchctl.documents.bench_file.instruments import (
    ElectronicLoad,
    Generator,
    Multimeter,
    Oscilloscope,
    RelayBank,
    Supply,
    Thermometer,
)
from benchctl.documents.bench_file.resistors import Resistor
from benchctl.documents.bench_file.signals import CurrentWiring, VoltageWiring
from benchctl.documents.bench_file.simulated_instruments import InstrumentSimulations
from benchctl.documents.bench_file.simulation import BenchSimulation
from benchctl.documents.model.accuracy import Accuracy
from benchctl.simulator.model.description import (
    BenchDescription,
    GeneratorDescription,
    LoadDescription,
    MultimeterDescription,
    OscilloscopeDescription,
    Plate,
    RatedLoad,
    RemoteLead,
    ResistorDescription,
    ScopeChannel,
    Spec,
    SupplyDescription,
    SupplyOutputDescription,
    ThermometerDescription,
)
from benchctl.simulator.physics import derive_physics


def describe(bench: Bench, amplifier: Amplifier) -> BenchDescription:
    """A simulated bench that fits the two files."""
    instruments, simulation = bench.instruments, bench.simulation or BenchSimulation()
    plate = _plate(amplifier)
    described = BenchDescription(
        plate=plate,
        amplifier=derive_physics(plate, amplifier.physics),
        generator=_generator(instruments.generator) if instruments.generator else None,
        oscilloscope=_oscilloscope(instruments.oscilloscope, bench, amplifier) if instruments.oscilloscope else None,
        load=_load(bench.load) if bench.load else None,
        supply=_supply(instruments.supply) if instruments.supply else None,
        thermometer=_thermometer(instruments.thermometer) if instruments.thermometer else None,
        multimeter=_multimeter(instruments.multimeter) if instruments.multimeter else None,
        remote=_remote(bench),
        generator_outputs=_fed_by_outputs(bench, amplifier),
        input_relays=bench.inputs.relays if isinstance(bench.inputs, InputsByRelay) else {},
        bench=simulation,
    )
    return _with_forms(described, simulation.instruments)


def _with_forms(described: BenchDescription, forms: InstrumentSimulations) -> BenchDescription:
    """The same bench, each instrument of which speaks as the bench file says."""
    return replace(
        described,
        **{
            role: replace(instrument, simulated=getattr(forms, role))
            for role in InstrumentSimulations.model_fields
            if (instrument := getattr(described, role)) is not None
        },
    )


def _spec(accuracy: Accuracy) -> Spec:
    return Spec(accuracy.reading, accuracy.range, accuracy.fixed)


def _plate(amplifier: Amplifier) -> Plate:
    lead = amplifier.remote_turn_on
    return Plate(
        channels=amplifier.channels,
        rated=tuple(RatedLoad(line.load_ohm, line.power_w, line.thd_n) for line in amplifier.rated),
        gain=amplifier.gain_ratio,
        supply_nominal_v=amplifier.supply.nominal_v,
        supply_minimum_v=amplifier.supply.minimum_v,
        idle_current_a=amplifier.fitted_idle_current_a or amplifier.idle_current_a,
        heatsink_maximum_c=amplifier.heatsink.maximum_c,
        heatsink_k_per_w=amplifier.heatsink_k_per_w,
        heatsink_time_constant_s=amplifier.heatsink.time_constant_s,
        remote_turn_on_v=lead.voltage_v if lead else 0.0,
        turn_on_delay_s=lead.delay_s if lead else 0.0,
        switching=amplifier.amplifier_class == "D",
        floating=amplifier.outputs == "floating",
        rails=amplifier.rails or "unregulated",
    )


def _fed_by_outputs(bench: Bench, amplifier: Amplifier) -> dict[str, int]:
    """Of the amplifier's channels, which output of the generator feeds each."""
    outputs = bench.inputs.outputs if isinstance(bench.inputs, InputsByGenerator) else {}
    return {channel: output for channel, output in outputs.items() if channel in amplifier.channels}


def _generator(entry: Generator) -> GeneratorDescription:
    return GeneratorDescription(
        level=_spec(entry.accuracy.level),
        frequency=_spec(entry.accuracy.frequency),
        highest_level_v=entry.ratings.level_v,
        highest_frequency_hz=entry.ratings.frequency_hz,
    )


def _oscilloscope(entry: Oscilloscope, bench: Bench, amplifier: Amplifier) -> OscilloscopeDescription:
    ratings, trigger = entry.ratings, bench.signals.trigger
    every = tuple(_channel(name, wiring) for name, wiring in bench.signals.wirings())
    # The probes of outputs that this amplifier does not have are not connected.
    in_the_air = {f"output {name}" for name in bench.signals.outputs if name not in amplifier.channels}
    wiring = tuple(channel for channel in every if channel.signal not in in_the_air)
    if trigger.channel is not None:
        wiring += (ScopeChannel(trigger.channel, "sync", 1.0),)
    return OscilloscopeDescription(
        wiring=wiring,
        voltage=_spec(entry.accuracy.voltage),
        bits=ratings.bits,
        memory=ratings.memory,
        sample_rate=ratings.sample_rate_hz,
        input_v=ratings.input_v,
        channels=max(4, *(channel.number for channel in (*every, *wiring))),
        external_trigger=trigger.is_external,
    )


def _channel(name: str, wiring: VoltageWiring | CurrentWiring) -> ScopeChannel:
    """What is true does not change when it is measured, so the simulator draws it from what the file itself says."""
    probe = wiring.probe
    return ScopeChannel(wiring.oscilloscope, name, 1.0 / probe.stated_units_per_volt, probe.stated_accuracy)


def _load(entry: RelayBank | LoadsByHand | ElectronicLoad) -> LoadDescription:
    if isinstance(entry, ElectronicLoad):
        span = entry.ratings.resistance
        return LoadDescription(
            kind="electronic",
            channels=(entry.channel,),
            resistance=_spec(entry.accuracy.resistance),
            lowest_ohm=span.minimum_ohm,
            highest_ohm=span.maximum_ohm,
            rated_power_w=entry.ratings.power_w,
        )
    return LoadDescription(
        kind=entry.kind,
        resistors=tuple(
            ResistorDescription(
                channel=resistor.channel,
                nominal_ohm=resistor.nominal_ohm,
                measured_ohm=resistor.as_stated.measured_ohm,
                uncertainty=resistor.as_stated.uncertainty,
                temperature_coefficient_per_k=resistor.as_stated.temperature_coefficient_per_k,
                rated_power_w=resistor.rated_power_w,
                relay=resistor.relay if isinstance(resistor, Resistor) else place,
            )
            for place, resistor in enumerate(entry.resistors, start=1)
        ),
    )


def _supply(entry: Supply) -> SupplyDescription:
    return SupplyDescription(
        outputs=tuple(
            SupplyOutputDescription(name, output.number, output.voltage_v, output.current_a)
            for name, output in entry.outputs.items()
        ),
        voltage=_spec(entry.accuracy.voltage),
        current=_spec(entry.accuracy.current),
    )


def _thermometer(entry: Thermometer) -> ThermometerDescription:
    return ThermometerDescription(
        channels={number: place for place, number in entry.channels.items()},
        temperature=Spec(fixed=entry.accuracy.temperature.fixed),
    )


def _multimeter(entry: Multimeter) -> MultimeterDescription:
    accuracy = entry.accuracy
    return MultimeterDescription(
        channels={point.channel: name for name, point in entry.points.items() if point.channel is not None},
        dc_voltage=_spec(accuracy.dc_voltage) if accuracy.dc_voltage else Spec(),
        ac_voltage=_spec(accuracy.ac_voltage) if accuracy.ac_voltage else Spec(),
        resistance=_spec(accuracy.resistance) if accuracy.resistance else Spec(),
        temperature=Spec(fixed=accuracy.temperature.fixed) if accuracy.temperature else Spec(),
    )


def _remote(bench: Bench) -> RemoteLead | None:
    match bench.remote_turn_on:
        case TurnOnBySupply(output=output):
            return RemoteLead(by="supply", output=output)
        case TurnOnByRelay(relay=relay):
            return RemoteLead(by="relay", relay=relay)
        case None:
            return None
        case _:
            return RemoteLead(by="hand")
