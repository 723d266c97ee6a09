"""Amplifiers drawn around a shipped one, each on a bench whose instruments have errors of their own.

One of class D also loses power at the edges of its carrier, about as much as the fit expects of any.
"""

from __future__ import annotations

import math
import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import yaml

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.amplifier_file.simulation import HeatsinkSimulation
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.reader import load_amplifier, load_bench
from benchctl.fit.reading.thinning import DC_MOVES, DC_MOVES_V, GAIN_MOVES
from benchctl.library import find
from benchctl.quantity import parse_quantity
from benchmarks.coverage.campaign import IMPERFECTIONS
from benchmarks.sequences.trials import BENCHES

# Factors on what the shipped amplifier has, or values in their units, each drawn evenly; factors evenly by logarithm.
FACTORS: Mapping[str, tuple[float, float]] = {
    "rail_stiffness": (0.7, 1.3),
    "reservoir": (0.4, 1.2),
    "output_resistance": (0.5, 2.5),
    "gain": (0.95, 1.05),
}
VALUES: Mapping[str, tuple[float, float]] = {
    "saturation": (0.8, 2.5),
    "converter_efficiency": (0.84, 0.95),
    "soft_knee": (0.005, 0.10),
}
RANGE_GAIN = "0.1 %"
"""By which two ranges of an oscilloscope channel differ at most; five times that of one with 8 bits."""

ZERO_MOVES = {"zero_drift": "14 %", "warm_up": "2.5 s"}
"""So that a tenth of the stated error of zero, which is what the fit allows for, is left when a zero has been taken."""

EDGES = 0.007
"""Part of rated power that the edges of a class D stage lose: the size of a normal number with this width."""

UNLIKE_STEPS = 0.1
"""Of a step, RMS: where the steps of a converter begin. The fit allows for an eighth."""

HUM_POINTS = 10_000
"""In a cycle of the mains."""

SENSOR_LAG_S = 1.0
"""Of the sensors on a simulated bench whose file gives none."""

ORDINARY, UNTIDY = "eight_bit", "untidy_workshop"
"""Shipped benches: the first has the accuracies of an ordinary bench, the second what is not ideal about one."""

TIDY, *_ = BENCHES_DRAWN = ("12 bits", "8 bits", "12 bits, untidy", "8 bits, untidy")


@dataclass(frozen=True)
class Drawn:
    """Files of one draw, and what is true of its amplifier, by quantity and channel."""

    amplifier: Path
    bench: Path
    truths: Mapping[tuple[str, str], float]


def bench_of(seed: int) -> str:
    """Which kind of bench a draw of a campaign is on: all of them in turn."""
    return BENCHES_DRAWN[seed % len(BENCHES_DRAWN)]


def drawn(base: str, seed: int, folder: Path, bench: str = TIDY) -> Drawn:
    """Write the files of one draw, on one of the kinds of bench."""
    chance = random.Random(f"{base} {seed}")
    sound = load_amplifier(base)
    content = yaml.safe_load(find("amplifiers", base).read_text(encoding="utf-8"))
    simulation = content["simulation"]
    numbers = _numbers(sound, chance)
    simulation |= {
        "rail_stiffness": f"{numbers['rail_stiffness'] * 1e3:.8g} mohm",
        "reservoir": f"{numbers['reservoir'] * 1e3:.8g} mF",
        "output_resistance": f"{numbers['output_resistance'] * 1e3:.8g} mohm",
        "gain": float(f"{numbers['gain']:.8g}"),
        "saturation": f"{numbers['saturation']:.8g} V",
        "converter_efficiency": f"{numbers['converter_efficiency'] * 100:.8g} %",
        "soft_knee": f"{numbers['soft_knee'] * 100:.8g} %",
    }
    drawn_bench = _bench(base, seed, folder, bench)
    truths = truths_of(sound, numbers, load_bench(drawn_bench))
    simulation.setdefault("imperfections", {})["dc_wander"] = _dc_wander(truths)
    if sound.amplifier_class == "D":
        overlap_s = _commutation_s(sound, numbers, lost_at_edges(base, seed))
        simulation["commutation"] = f"{overlap_s * 1e9:.8g} ns"
    amplifier = folder / "amplifier.yaml"
    amplifier.write_text(yaml.safe_dump(content, sort_keys=False), encoding="utf-8")
    return Drawn(amplifier, drawn_bench, truths)


def _dc_wander(truths: Mapping[tuple[str, str], float]) -> dict[str, str]:
    """By channel, as far as the fit allows for."""
    dc_v = {channel: value for (name, channel), value in truths.items() if name == "dc"}
    return {channel: f"{(DC_MOVES_V + DC_MOVES * abs(value)) * 1e3:.6g} mV" for channel, value in dc_v.items()}


def _numbers(sound: Amplifier, chance: random.Random) -> dict[str, float]:
    given = sound.simulation
    assert given is not None
    known: Mapping[str, Any] = {
        "rail_stiffness": given.rail_stiffness_ohm,
        "reservoir": given.reservoir_f,
        "output_resistance": given.output_resistance_ohm,
        "gain": given.gain,
    }
    factors = {name: math.exp(chance.uniform(math.log(low), math.log(high))) for name, (low, high) in FACTORS.items()}
    values = {name: chance.uniform(low, high) for name, (low, high) in VALUES.items()}
    return {name: known[name] * factor for name, factor in factors.items()} | values


def lost_at_edges(base: str, seed: int) -> float:
    """Part of its power that one of class D loses at the edges of its carrier, with a clean sine of rated power into
    the lowest rated load.

    Its stream of chance is its own, so that all other numbers of a seed are what they are without it.
    """
    return abs(random.Random(f"{base} {seed} edges").gauss(0.0, EDGES))


def _commutation_s(sound: Amplifier, numbers: Mapping[str, float], lost: float) -> float:
    """How long voltage and current must overlap at each edge to lose this part of the power.

    A half loses 2·V·(2/pi)·I·t·f on average (`SwitchingStage`), with I the peak of the current and V the rail that just
    lets the top of the sine through.
    """
    given, line = sound.simulation, min(sound.rated, key=lambda each: each.load_ohm)
    assert given is not None
    assert given.carrier_hz is not None
    halves = 2 if sound.outputs == "floating" else 1
    peak_a = math.sqrt(2.0 * line.power_w / line.load_ohm)
    path_ohm = line.load_ohm + numbers["output_resistance"] + (given.conduction_ohm or 0.0)
    rail_v = peak_a * path_ohm / halves + numbers["saturation"]
    return lost * line.power_w / (halves * 2.0 * rail_v * 2.0 / math.pi * peak_a * given.carrier_hz)


def _bench(base: str, seed: int, folder: Path, kind: str) -> Path:
    content = _shipped(BENCHES[base])
    if kind.startswith("8 bits"):
        _make_ordinary(content)
    imperfections = _imperfections(kind)
    reading = content["instruments"]["oscilloscope"]["accuracy"]["voltage"]["reading"]
    imperfections["oscilloscope"]["unlike_steps"] = UNLIKE_STEPS
    imperfections["oscilloscope"]["record_gain"] = f"{GAIN_MOVES * _part(reading) * 100:.6g} %"
    errors = resistor_errors(content["instruments"]["load"]["resistors"], random.Random(f"{base} {seed} resistors"))
    content["simulation"] = {"seed": seed, "errors": errors, "imperfections": imperfections}
    bench = folder / "bench.yaml"
    bench.write_text(yaml.safe_dump(content, sort_keys=False), encoding="utf-8")
    return bench


def _shipped(bench: str) -> Any:
    return yaml.safe_load(find("benches", bench).read_text(encoding="utf-8"))


def _make_ordinary(content: Any) -> None:
    """Give a bench the accuracies of an ordinary one."""
    ordinary = _shipped(ORDINARY)
    for role in ("generator", "oscilloscope", "supply", "thermometer"):
        content["instruments"][role]["accuracy"] = ordinary["instruments"][role]["accuracy"]
    content["instruments"]["oscilloscope"]["ratings"]["bits"] = 8
    for resistor in content["instruments"]["load"]["resistors"]:
        resistor |= {"uncertainty": "1 %", "temperature_coefficient": "100 ppm/K"}
    signals, usual = content["signals"], ordinary["signals"]
    for output in signals["outputs"].values():
        output["probe"]["accuracy"] = usual["outputs"]["A"]["probe"]["accuracy"]
    for name in ("supply_current", "supply_voltage"):
        signals[name]["probe"]["accuracy"] = usual[name]["probe"]["accuracy"]


def _part(text: str) -> float:
    return parse_quantity(text, "1")


def resistor_errors(resistors: Sequence[Mapping[str, Any]], chance: random.Random) -> dict[str, str]:
    """By the names that a bench file gives errors. An uncertainty with k = 2 leaves 5 % outside, where none lies that
    the simulator draws itself."""
    return {
        f"resistor {resistor['relay']}": f"{chance.gauss(0.0, _part(resistor['uncertainty']) / 2.0) * 100:.6g} %"
        for resistor in resistors
    }


def _imperfections(kind: str) -> Any:
    match kind:
        case "8 bits, untidy":
            return _shipped(UNTIDY)["simulation"]["imperfections"]
        case "12 bits, untidy":
            return yaml.safe_load(IMPERFECTIONS.read_text(encoding="utf-8"))
        case "8 bits":
            return {"oscilloscope": {"range_gain": "0.5 %", **ZERO_MOVES}}
    return {"oscilloscope": {"range_gain": RANGE_GAIN, **ZERO_MOVES}}


def truths_of(
    sound: Amplifier, numbers: Mapping[str, float], bench: Bench | None = None
) -> dict[tuple[str, str], float]:
    """By quantity and channel; headroom and n/eta follow by definition. Without a bench nothing hums."""
    given = sound.simulation
    assert given is not None
    assert given.rail_v is not None
    ratio = given.rail_v / sound.supply.nominal_v
    found = {
        ("rail_stiffness", ""): numbers["rail_stiffness"],
        ("reservoir", ""): numbers["reservoir"],
        ("headroom", ""): given.rail_v - numbers["saturation"],
        ("input_ratio", ""): ratio / numbers["converter_efficiency"],
        ("output_resistance", ""): numbers["output_resistance"],
        ("knee", ""): numbers["soft_knee"],
        ("rail", ""): given.rail_v,
        ("saturation", ""): numbers["saturation"],
        ("converter_efficiency", ""): numbers["converter_efficiency"],
    }
    if given.heatsink is not None:
        found |= _heatsink(given.heatsink)
    if given.conduction_ohm is not None:
        found["conduction_resistance", ""] = given.conduction_ohm
    for channel in sound.channels:
        found["gain", channel] = numbers["gain"]
        asked_v = (given.offset_v or {}).get(channel, 0.0)
        found["dc", channel] = _dc(asked_v, given.crossover_v or 0.0, numbers["gain"], bench)
    return found


def _dc(asked_v: float, crossover_v: float, gain: float, bench: Bench | None) -> float:
    """What the dead zone of the crossover leaves of dc at rest: more of it where mains hum at an open input carries the
    output through the zone. The hum is a sum of sines in phase, as the bench file states it."""
    mains = None if bench is None or bench.simulation is None else bench.simulation.imperfections.mains
    turns = np.arange(HUM_POINTS) / HUM_POINTS
    parts = (1.0,) if mains is None else (1.0, *mains.harmonics)
    wave = sum(part * np.sin(2.0 * np.pi * order * turns) for order, part in enumerate(parts, start=1))
    hum_v = 0.0 if mains is None else gain * mains.at_open_inputs_v
    outside_v = asked_v + hum_v * wave / np.sqrt(np.mean(wave**2))
    return float(np.mean(np.copysign(np.maximum(np.abs(outside_v) - crossover_v, 0.0), outside_v)))


def _heatsink(of: HeatsinkSimulation) -> dict[tuple[str, str], float]:
    """The slow pole sees all that is warm; the fast one, devices over heatsink, and the sensor are lags."""
    whole_j_per_k = of.capacity_j_per_k + of.junction_capacity_j_per_k
    devices_s = of.junction_k_per_w * of.junction_capacity_j_per_k * of.capacity_j_per_k / whole_j_per_k
    return {
        ("heatsink_resistance", ""): of.ambient_k_per_w,
        ("heatsink_capacity", ""): whole_j_per_k,
        ("heatsink_lag", ""): devices_s + SENSOR_LAG_S,
    }
