"""The things on the bench as a description has them, before anything is switched or set."""

from __future__ import annotations

import math

from benchctl.simulator.amplifier.amplifier import Amplifier
from benchctl.simulator.amplifier.converter import Whine
from benchctl.simulator.generator_signal import GeneratorSignal
from benchctl.simulator.hardware.loads import TrueResistor
from benchctl.simulator.hardware.supply_outputs import SupplyOutput
from benchctl.simulator.model.description import BenchDescription, ResistorDescription
from benchctl.simulator.model.true_errors import TrueErrors

MAIN = "main"
"""The name of the supply output that feeds the amplifier."""


def drive_of(description: BenchDescription) -> GeneratorSignal:
    """An output of the generator, with what it adds to every tone."""
    adds = description.bench.imperfections.generator
    return GeneratorSignal(harmonics=(adds.second_harmonic, adds.third_harmonic), own_offset_v=adds.offset_v)


def supply_outputs_of(description: BenchDescription) -> tuple[dict[int, SupplyOutput], dict[str, SupplyOutput]]:
    """The outputs by number and by name."""
    lead_ohm = description.bench.supply_lead_ohm
    if description.supply is None:
        battery = SupplyOutput(lead_ohm, on=True, voltage_v=description.plate.supply_nominal_v, limit_a=math.inf)
        return {1: battery}, {MAIN: battery}
    slew = description.bench.supply_slew
    outputs = {
        each.name: _main_output(description) if each.name == MAIN else SupplyOutput(0.0, slew)
        for each in description.supply.outputs
    }
    if MAIN not in outputs:
        raise ValueError("no output of the supply is called 'main'; it is the one that feeds the amplifier")
    return {each.number: outputs[each.name] for each in description.supply.outputs}, outputs


def _main_output(description: BenchDescription) -> SupplyOutput:
    """The output that feeds the amplifier, with all that is not ideal about it."""
    bench, imperfect = description.bench, description.bench.imperfections.supply
    whine = imperfect.whine
    return SupplyOutput(
        bench.supply_lead_ohm,
        bench.supply_slew,
        inner_ohm=imperfect.output_resistance_ohm,
        recovery=imperfect.recovery,
        open_sense_v=imperfect.open_sense_v or 0.0,
        whine=None if whine is None else Whine(math.sqrt(2) * whine.level_v, whine.frequency_hz),
    )


def amplifier_of(description: BenchDescription) -> Amplifier:
    """Switched off, with the protections and delays that it is described with."""
    physics, plate = description.amplifier, description.plate
    return Amplifier(
        protection=physics.protection,
        turn_on_delay_s=physics.turn_on_delay_s,
        soft_start_s=min(physics.soft_start_s, physics.turn_on_delay_s),
        # Half the stated remote voltage wakes it (common practice); any supply at all does where there is no lead.
        remote_threshold_v=max(plate.remote_turn_on_v / 2, 1.0),
        thump=physics.imperfections.thump,
    )


def true_resistors_of(description: BenchDescription, true_errors: TrueErrors) -> list[TrueResistor]:
    """What the resistors of the load truly are: each is off by an error of its own."""
    load = description.load
    if load is None:
        return []
    if load.kind == "electronic":
        return [TrueResistor(channel, 0, load.highest_ohm, 0.0, load.rated_power_w) for channel in load.channels]
    return [
        TrueResistor(
            channel=resistor.channel,
            relay=resistor.relay,
            resistance_ohm=resistor.measured_ohm * (1 + _resistor_error(resistor, true_errors)),
            temperature_coefficient_per_k=resistor.temperature_coefficient_per_k,
            rated_power_w=resistor.rated_power_w,
            nominal_ohm=resistor.nominal_ohm,
        )
        for resistor in load.resistors
    ]


def _resistor_error(resistor: ResistorDescription, true_errors: TrueErrors) -> float:
    return true_errors.normal(f"resistor {resistor.relay}", resistor.uncertainty)
