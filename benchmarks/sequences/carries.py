"""Why a bench cannot test an amplifier, from its plate and the bench file only, without preflight."""

from __future__ import annotations

from collections.abc import Iterator

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bench_file.instruments import ElectronicLoad
from benchctl.documents.reader import load_sequence
from benchctl.documents.sequence_file.sequence import in_order
from benchctl.quantity import parse_quantity, render

# The loads that a sequence uses in addition to the rated loads.
USUAL_LOAD_OHM = 4.0
# Output over supply power at full power at best, and by how much an amplifier may give more than its plate says
# (common practice, as preflight's worst case has it).
EFFICIENCY_AT_LEAST = {"D": 0.75}
EFFICIENCY_OF_LINEAR = 0.5
OVER_PLATE = 1.2
# Sequences that hold full power into every rated load for seconds, or set the supply to its extremes.
_TO_THE_ENDS_OF_THE_SUPPLY = {"supply_sensitivity"}


def what_it_lacks(bench: Bench, amplifier: Amplifier, sequence: str, load: str = "") -> tuple[str, ...]:
    """Each reason in words; empty if the bench can test it. `load`: what the sequence is told to drive into."""
    also_ohm = parse_quantity(load, "ohm") if load else USUAL_LOAD_OHM
    needs_multimeter = any("multimeter" in step.roles for step, _ in in_order(load_sequence(sequence).steps))
    meter = ("a multimeter",) if needs_multimeter and bench.instruments.multimeter is None else ()
    loads = _loads(bench, amplifier, also_ohm)
    return (*_outputs(bench, amplifier), *loads, *_supply(bench, amplifier, sequence), *meter)


def _outputs(bench: Bench, amplifier: Amplifier) -> Iterator[str]:
    for channel in amplifier.channels:
        if channel not in bench.signals.outputs and f"output {channel}" not in bench.unwatched:
            yield f"no probe for output {channel}"


def _loads(bench: Bench, amplifier: Amplifier, also_ohm: float) -> Iterator[str]:
    load = bench.load
    for load_ohm in {*(line.load_ohm for line in amplifier.rated), also_ohm}:
        if isinstance(load, ElectronicLoad):
            there = {load.channel}
        else:
            there = set() if load is None else set(load.resistors_for(load_ohm))
        if not set(amplifier.channels) <= there:
            yield f"no load of {load_ohm:g} ohm for every output"


def _supply(bench: Bench, amplifier: Amplifier, sequence: str) -> Iterator[str]:
    supply, bears = bench.instruments.supply, amplifier.supply
    wanted_v = bears.maximum_v if sequence in _TO_THE_ENDS_OF_THE_SUPPLY else bears.nominal_v
    if supply is None or supply.main.voltage_v < wanted_v:
        yield f"a supply of {render(wanted_v, 'V')}"
        return
    efficiency = EFFICIENCY_AT_LEAST.get(amplifier.amplifier_class, EFFICIENCY_OF_LINEAR)
    rated_w = max(line.power_w for line in amplifier.rated) * len(amplifier.channels)
    full_a = OVER_PLATE * rated_w / efficiency / bears.nominal_v
    if full_a > supply.main.current_a:
        yield f"a supply of {render(full_a, 'A', digits=3)} for full power into the heaviest rated load"
