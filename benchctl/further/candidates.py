"""What else could be measured on this bench with this amplifier."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bench_file.offered import gives_voltage, loaded_channels
from benchctl.documents.sequence_file.references import known_of
from benchctl.further.measurement import Measurement
from benchctl.quantity import parse_quantity

Candidate = tuple[Measurement, ...]
"""One step more, or two that tell only together."""

CYCLES = (1, 8, 20)
FREQUENCIES_HZ = (500.0, 1000.0, 2000.0)
"""The fit's model holds from the first to the last of these."""

QUIET = 0.25
"""Part of rated power of a tone that compares two loads."""

SAME = 1e-3


def candidates(measured: Sequence[Measurement], amplifier: Amplifier, bench: Bench) -> tuple[Candidate, ...]:
    """All of them that the run has not measured, without those that nobody can connect or set."""
    nominal_v = amplifier.supply.nominal_v
    found = [(each,) for each in _singles(measured, amplifier, bench)] + list(_pairs(measured, amplifier, bench))
    known = set(measured)
    new = (tuple(each for each in candidate if each not in known) for candidate in found)
    order = dict.fromkeys(candidate for candidate in new if candidate)
    return tuple(sorted(order, key=lambda candidate: candidate[0].supply_v != nominal_v))


def usual_load_ohm(measured: Sequence[Measurement], amplifier: Amplifier) -> float:
    """The load that the run has used first."""
    return next((each.load_ohm for each in measured if each.load_ohm), amplifier.rated[0].load_ohm)


def usual_frequency_hz(measured: Sequence[Measurement]) -> float:
    """Of the tones that the run has used first."""
    return next((each.frequency_hz for each in measured if each.load_ohm), 1000.0)


def loads_ohm(amplifier: Amplifier, bench: Bench) -> tuple[float, ...]:
    """Loads that the amplifier is rated for, or a lighter one, of which the bench has one for each channel."""
    asked = {line.load_ohm for line in amplifier.rated}
    asked.add(parse_quantity(str(known_of(amplifier)["amplifier.other_load"]), "ohm"))
    there = (ohm for ohm in asked if set(amplifier.channels) <= loaded_channels(bench, ohm))
    return tuple(sorted((ohm for ohm in there if ohm >= amplifier.minimum_load_ohm * (1.0 - SAME)), reverse=True))


def voltages_v(amplifier: Amplifier, bench: Bench) -> tuple[float, ...]:
    """Other supply voltages: halfway to the lowest, as `before_and_after` has it, and halfway to the highest."""
    supply = amplifier.supply
    asked = ((supply.minimum_v + supply.nominal_v) / 2.0, (supply.maximum_v + supply.nominal_v) / 2.0)
    return tuple(round(volts, 3) for volts in asked if volts != supply.nominal_v and gives_voltage(bench, volts))


def _singles(measured: Sequence[Measurement], amplifier: Amplifier, bench: Bench) -> Iterator[Measurement]:
    nominal_v, usual_ohm = amplifier.supply.nominal_v, usual_load_ohm(measured, amplifier)
    usual_hz = usual_frequency_hz(measured)
    yield Measurement("idle", nominal_v)
    for load_ohm in loads_ohm(amplifier, bench):
        yield Measurement("clean", nominal_v, load_ohm, usual_hz)
        yield from (Measurement("burst", nominal_v, load_ohm, usual_hz, cycles) for cycles in CYCLES)
    for frequency_hz in FREQUENCIES_HZ:
        yield Measurement("burst", nominal_v, usual_ohm, frequency_hz, 8)
    for volts in voltages_v(amplifier, bench):
        yield Measurement("idle", volts)
        yield Measurement("clean", volts, usual_ohm, usual_hz)
        yield Measurement("burst", volts, usual_ohm, usual_hz, 8)


def _pairs(measured: Sequence[Measurement], amplifier: Amplifier, bench: Bench) -> Iterator[Candidate]:
    """The same quiet tone into the usual load and another one."""
    nominal_v, usual_ohm = amplifier.supply.nominal_v, usual_load_ohm(measured, amplifier)
    usual_hz = usual_frequency_hz(measured)
    for load_ohm in loads_ohm(amplifier, bench):
        if abs(load_ohm - usual_ohm) > SAME * usual_ohm:
            rated_v = min(amplifier.rated_voltage_v(ohm) for ohm in (usual_ohm, load_ohm))
            level_v = float(f"{rated_v * QUIET**0.5 / amplifier.gain_ratio:.3g}")
            pair = (usual_ohm, load_ohm)
            yield tuple(Measurement("tone", nominal_v, ohm, usual_hz, level_v=level_v) for ohm in pair)
