"""Makes the context of an analysis from what the documents say of instruments and loads."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bench_file.by_hand import LoadsByHand
from benchctl.documents.bench_file.instruments import ElectronicLoad, Multimeter, Oscilloscope, RelayBank
from benchctl.documents.bench_file.multimeter import Point
from benchctl.documents.bench_file.sight import terminal_point
from benchctl.documents.bench_file.signals import CurrentWiring, VoltageWiring
from benchctl.documents.model.accuracy import Accuracy as StatedAccuracy
from benchctl.errors import UsageError
from benchctl.measure.analyses.square_figures import RISE_TIMES_BANDWIDTH
from benchctl.measure.analyses.supply_voltages import TERMINALS
from benchctl.measure.signal.record import OUTPUT, SUPPLY_CURRENT
from benchctl.measure.uncertainty import COVERAGE_FACTOR, Accuracy, LoadResistance

_OSCILLOSCOPE = "oscilloscope"


def signal_accuracies(bench: Bench) -> dict[str, tuple[Accuracy, ...]]:
    """Each wired signal -> the accuracies of its chain: the oscilloscope, then the probe."""
    oscilloscope = bench.instruments.oscilloscope
    if oscilloscope is None:
        return {}
    return {name: _chain(oscilloscope, wiring) for name, wiring in bench.signals.wirings()}


def _chain(oscilloscope: Oscilloscope, wiring: VoltageWiring | CurrentWiring) -> tuple[Accuracy, ...]:
    """The accuracies of a chain. The fixed part is in volts at the oscilloscope's input, so the probe scales it."""
    voltage, probe = oscilloscope.accuracy.voltage, wiring.probe
    return (
        Accuracy(
            voltage.reading,
            voltage.range,
            voltage.fixed * probe.units_per_volt,
            linearity=oscilloscope.linearity,
            scale=_OSCILLOSCOPE,
        ),
        Accuracy(reading=probe.accuracy),
    )


def generator_accuracies(bench: Bench) -> dict[str, Any]:
    """`level_accuracy` in V and `frequency_accuracy` relative, as a context takes them."""
    generator = bench.instruments.generator
    if generator is None:
        return {}
    level, frequency = generator.accuracy.level, generator.accuracy.frequency
    return {
        "level_accuracy": (_reading(level, generator.ratings.level_v),),
        "frequency_accuracy": frequency.reading,
    }


def reading_accuracies(bench: Bench) -> dict[str, tuple[Accuracy, ...]]:
    """Each reading that instruments give as a number -> its accuracy."""
    supply, thermometer = bench.instruments.supply, bench.instruments.thermometer
    accuracies: dict[str, tuple[Accuracy, ...]] = {}
    if supply is not None:
        voltage, current = supply.accuracy.voltage, supply.accuracy.current
        accuracies["supply_voltage"] = (_reading(voltage, supply.main.voltage_v, voltage.resolution),)
        accuracies["supply_current"] = (_reading(current, supply.main.current_a, current.resolution),)
    if thermometer is not None:
        for channel, _ in thermometer.channels.items():
            accuracies[channel] = (Accuracy(fixed=thermometer.accuracy.temperature.fixed),)
    if (point := terminal_point(bench)) is not None and bench.instruments.multimeter is not None:
        accuracies[TERMINALS] = point_accuracies(bench.instruments.multimeter)[point]
    return accuracies


def supply_wiring(bench: Bench) -> dict[str, Any]:
    """Where the supply reads its voltage, and what its leads may have, as a context takes them."""
    supply = bench.instruments.supply
    if supply is None:
        return {}
    return {"senses_terminals": supply.main.remote_sense, "leads_ohm": supply.main.leads_ohm}


def point_accuracies(multimeter: Multimeter) -> dict[str, tuple[Accuracy, ...]]:
    """Each point of the multimeter -> its accuracy there, in the range that the bench file says."""
    return {name: (_at_point(multimeter, point),) for name, point in multimeter.points.items()}


def _at_point(multimeter: Multimeter, point: Point) -> Accuracy:
    stated = multimeter.accuracy.of(point.measures)
    if isinstance(stated, StatedAccuracy):
        return _reading(stated, point.full_scale)
    return Accuracy(fixed=stated.fixed if stated is not None else 0.0)


def skew_s(bench: Bench) -> float:
    """The largest difference between the delays of two channels of the oscilloscope."""
    oscilloscope = bench.instruments.oscilloscope
    return 0.0 if oscilloscope is None else oscilloscope.ratings.skew_s


def own_rise_times_s(bench: Bench) -> dict[str, float]:
    """Each output, as a signal -> the rise time of generator, oscilloscope and probe together, which add in squares;
    outputs of which one of them is not given are left out."""
    generator, oscilloscope = bench.instruments.generator, bench.instruments.oscilloscope
    if generator is None or oscilloscope is None or generator.ratings.square_rise_s is None:
        return {}
    found = {}
    for channel, wiring in bench.signals.outputs.items():
        bandwidths_hz = (oscilloscope.ratings.bandwidth_hz, wiring.probe.bandwidth_hz)
        if all(bandwidths_hz):
            parts = [RISE_TIMES_BANDWIDTH / each for each in bandwidths_hz if each]
            found[OUTPUT + channel] = math.hypot(generator.ratings.square_rise_s, *parts)
    return found


# A clamp's zero drifts by so much of its rating from one hour to the next (common practice for Hall sensors).
CLAMP_ZERO = 0.0025


def zero_allowances(bench: Bench) -> dict[str, float]:
    """Each signal whose zero may be wrong by more than its accuracy says -> by how much."""
    clamp = bench.signals.supply_current
    return {} if clamp is None else {SUPPLY_CURRENT: CLAMP_ZERO * clamp.probe.rating_a}


def _reading(accuracy: StatedAccuracy, full_scale: float, resolution: float = 0.0) -> Accuracy:
    """The accuracy of a reading. A supply or a generator has one range, its output's full scale, so that part is
    fixed.
    """
    return Accuracy(accuracy.reading, fixed=accuracy.fixed + accuracy.range * full_scale, resolution=resolution)


def load_resistances(
    bench: Bench, channels: Sequence[str], nominal_ohm: float, temperature_c: float | None
) -> dict[str, LoadResistance]:
    """Each of the amplifier's `channels` -> what is known of the resistor that loads it.

    Raises:
        UsageError: the bench has no such load.
    """
    load = bench.load
    match load:
        case RelayBank() | LoadsByHand():
            found = _of_bank(load, nominal_ohm, temperature_c, _thermometer_uncertainty_k(bench))
        case ElectronicLoad():
            found = _of_electronic(load, nominal_ohm)
        case _:
            found = {}
    if not found:
        raise UsageError(f"the bench has no load of {nominal_ohm:g} ohm")
    return {channel: resistance for channel, resistance in found.items() if channel in channels}


def _of_bank(
    bank: RelayBank | LoadsByHand, nominal_ohm: float, temperature_c: float | None, temperature_uncertainty_k: float
) -> dict[str, LoadResistance]:
    return {
        channel: LoadResistance(
            nominal_ohm=resistor.nominal_ohm,
            measured_ohm=resistor.measured_ohm,
            relative_uncertainty=resistor.uncertainty,
            temperature_coefficient_per_k=resistor.temperature_coefficient_per_k,
            temperature_coefficient_uncertainty_per_k=resistor.temperature_coefficient_uncertainty_per_k or 0.0,
            temperature_c=temperature_c,
            temperature_uncertainty_k=temperature_uncertainty_k,
        )
        for channel, resistor in bank.resistors_for(nominal_ohm).items()
    }


def _of_electronic(load: ElectronicLoad, nominal_ohm: float) -> dict[str, LoadResistance]:
    limit = load.accuracy.resistance
    relative = (
        limit.reading + limit.range * load.ratings.resistance.maximum_ohm / nominal_ohm + limit.fixed / nominal_ohm
    )
    # A limit of error is half the width of a rectangle: u = a / sqrt 3 (JCGM 100, 4.3.7).
    return {
        load.channel: LoadResistance(
            nominal_ohm=nominal_ohm,
            measured_ohm=nominal_ohm,
            relative_uncertainty=COVERAGE_FACTOR * relative / math.sqrt(3.0),
        )
    }


def _thermometer_uncertainty_k(bench: Bench) -> float:
    """Standard uncertainty of a temperature, K."""
    thermometer = bench.instruments.thermometer
    return 0.0 if thermometer is None else thermometer.accuracy.temperature.fixed / math.sqrt(3.0)
