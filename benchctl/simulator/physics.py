"""Derives plausible physics of an amplifier from its rating plate.

Two rated loads fix a resistive source: at rated power the tips are clipped to 1 % distortion, so each rating gives the
rail under its own current, and the line through both gives the open rail and its stiffness.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from benchctl.documents.amplifier_file.faults import AmplifierFaults
from benchctl.documents.amplifier_file.imperfections import AmplifierImperfections
from benchctl.documents.amplifier_file.simulation import AmplifierSimulation, HeatsinkSimulation, ProtectionSimulation
from benchctl.simulator.amplifier.outputs import output_of
from benchctl.simulator.amplifier.transfer import Transfer
from benchctl.simulator.generator_signal import Tone
from benchctl.simulator.model.description import Physics, Plate, RatedLoad

POWER_MARGIN = 1.03
"""A maker rates a little below what the amplifier gives."""

SATURATION_V = 1.6
OUTPUT_OHM = 0.02
EFFICIENCY = 0.92
HOUSEKEEPING_W = 4.0
CROSSTALK = 1e-3
"""-60 dB; common practice for channels on one board"""
RAIL_TIME_CONSTANT_S = 0.0108
"""stiffness times reservoir; common practice: reservoirs hold for about ten milliseconds"""
ONE_LOAD_DROP = 0.10
"""how far the rail falls under rated load, used where the plate has only one rated load"""
STIFFEST_DROP = 0.01
"""how far even a regulated rail falls"""
CONDUCTION_PART = 0.03
"""class D: resistance of devices and coil over the lowest rated load (common practice: some per cent)"""
SWITCHING_PART = 0.015
"""class D: switching loss over the highest rated power of a channel, used where no idle current is given"""
RIPPLE_V = 0.2
CARRIER_HZ = 263e3
"""class D amplifiers for vehicles switch at 60 to 400 kHz (common practice)"""
NOISE_V = 0.0003
NOISE_BANDWIDTH_HZ = 50e3
"""amplifiers for vehicles go to some tens of kilohertz (common practice)"""
SHORT_OVER_RATED = 2.5
"""peak output current at which the protection acts, over the highest at rated power"""


def derive_physics(plate: Plate, given: AmplifierSimulation | None = None) -> Physics:
    """Complete physics: the values in `given`, the rest derived from the plate.

    Raises:
        ValueError: the plate rates no load, or a load or power that is not positive.
    """
    if not plate.rated or min(min(line.load_ohm, line.power_w) for line in plate.rated) <= 0:
        raise ValueError("the plate must rate at least one load, and loads and powers must be positive")
    given = given or AmplifierSimulation()
    stated = _stated(given)
    stage = Physics(**(_guesses(plate) | stated))
    rail_v, stiffness_ohm = _rail(plate, stage)
    stage = replace(stage, **({"rail_v": rail_v, "rail_stiffness_ohm": stiffness_ohm} | stated))
    last = {"reservoir_f": _reservoir_f(stage), **_idle(plate, stage)}
    return _with_faults(replace(stage, **(last | stated | {"protection": _with_short(plate, stage.protection)})))


def _with_short(plate: Plate, protection: ProtectionSimulation) -> ProtectionSimulation:
    if protection.output_current_a is not None:
        return protection
    rated_a = math.sqrt(2 * max(line.power_w / line.load_ohm for line in plate.rated))
    return protection.model_copy(update={"output_current_a": SHORT_OVER_RATED * rated_a})


def _with_faults(sound: Physics) -> Physics:
    """Adds the faults of the whole amplifier; those of one channel are in `outputs`."""
    faults = sound.faults
    return replace(
        sound,
        reservoir_f=sound.reservoir_f * (faults.aged_reservoir or 1.0),
        bias_current_a=sound.bias_current_a * (faults.bias_too_high or 1.0),
    )


def _stated(given: AmplifierSimulation) -> dict[str, Any]:
    return {name: value for name, value in given if value is not None}


def _guesses(plate: Plate) -> dict[str, Any]:
    """What the plate alone suggests; zeros where a value is derived later, and a rough rail until the right one is."""
    least_ohm = min(line.load_ohm for line in plate.rated)
    full_w = max(line.power_w for line in plate.rated)
    return {
        "gain": plate.gain,
        "rail_v": max(math.sqrt(2 * line.power_w * line.load_ohm) for line in plate.rated) / plate.halves,
        "rail_stiffness_ohm": 0.0,
        "reservoir_f": 0.0,
        "saturation_v": SATURATION_V,
        "output_resistance_ohm": OUTPUT_OHM,
        "converter_efficiency": EFFICIENCY,
        "rails": plate.rails,
        "dropout_v": plate.supply_minimum_v,
        "bias_current_a": 0.0,
        "bias_drift_per_k": 0.0,
        "soft_knee": 0.0,
        "crossover_v": 0.0,
        "conduction_ohm": CONDUCTION_PART * least_ohm,
        "switching_w": SWITCHING_PART * full_w,
        "ripple_v": RIPPLE_V,
        "carrier_hz": CARRIER_HZ,
        "filters": (),
        "housekeeping_w": HOUSEKEEPING_W,
        "standby_current_a": 0.004,
        "noise_v": NOISE_V,
        "noise_bandwidth_hz": NOISE_BANDWIDTH_HZ,
        "offset_v": {channel: 0.005 * (-1) ** index for index, channel in enumerate(plate.channels)},
        "heatsink": _heatsink(plate),
        "protection": _protection(plate),
        "turn_on_delay_s": 0.75 * plate.turn_on_delay_s,
        "soft_start_s": min(0.1, 0.5 * plate.turn_on_delay_s),
        "faults": AmplifierFaults(),
        "crosstalk": CROSSTALK,
    }


def _rail(plate: Plate, physics: Physics) -> tuple[float, float]:
    """Open rail and its stiffness from the rated loads."""
    points = sorted(_under_load(plate, line, physics) for line in plate.rated)
    (light_a, light_v), (heavy_a, heavy_v) = points[0], points[-1]
    if physics.rails == "regulated":
        stiffness_ohm = STIFFEST_DROP * heavy_v / heavy_a
    elif heavy_a <= light_a:
        stiffness_ohm = ONE_LOAD_DROP * heavy_v / heavy_a
    else:
        stiffness_ohm = max((light_v - heavy_v) / (heavy_a - light_a), STIFFEST_DROP * heavy_v / heavy_a)
    # The open rail must be high enough for every rating.
    return max(volts + stiffness_ohm * amperes for amperes, volts in points), stiffness_ohm


def _reservoir_f(physics: Physics) -> float:
    """Regulation makes the rails stiff, not the reservoir larger."""
    regulation = ONE_LOAD_DROP / STIFFEST_DROP if physics.rails == "regulated" else 1.0
    return RAIL_TIME_CONSTANT_S / (physics.rail_stiffness_ohm * regulation)


def _under_load(plate: Plate, line: RatedLoad, physics: Physics) -> tuple[float, float]:
    """Current out of the rail and the rail itself at rated power, all channels driven."""
    clipper = Transfer(knee=physics.soft_knee)
    overdrive = clipper.overdrive_at(line.distortion)
    plain = replace(physics, filters=(), limiter_v=math.inf, imperfections=AmplifierImperfections())
    output = replace(output_of(plain, plate, plate.channels[0]), gain=1.0, transfer=clipper)
    load_v = math.sqrt(POWER_MARGIN * line.power_w * line.load_ohm / clipper.means(overdrive, 0.0, 1.0).square_v2)
    # The highest voltage at the load, then inside each half, then the headroom that the rail must leave it.
    limit_v = load_v * (1 + physics.output_resistance_ohm / line.load_ohm)
    stage = output.stage(Tone(overdrive * limit_v, 1e3, 0.0), 1 / line.load_ohm)
    headroom_v = limit_v / plate.halves / stage.limit_v(1.0)
    rail_v = headroom_v + physics.saturation_v
    return len(plate.channels) * stage.takes(rail_v, headroom_v)[0], rail_v


def _idle(plate: Plate, physics: Physics) -> dict[str, float]:
    """The value that gives the stated idle current: the bias of a linear stage, the switching loss of class D."""
    if plate.idle_current_a is None:
        return {"bias_current_a": 0.0 if plate.switching else 0.02}
    idle_w = (plate.idle_current_a * plate.supply_nominal_v - physics.housekeeping_w) * physics.converter_efficiency
    idle_w /= len(plate.channels)
    if plate.switching:
        return {"switching_w": max(idle_w, 0.1)}
    return {"bias_current_a": max(idle_w / (2 * physics.rail_v), 0.001)}


def _heatsink(plate: Plate) -> HeatsinkSimulation:
    """The heatsink of the plate, and devices that suit it."""
    full_w = max(line.power_w for line in plate.rated) * len(plate.channels)
    return HeatsinkSimulation(
        junction_k_per_w=0.3 * plate.heatsink_k_per_w + 0.05,
        junction_capacity_j_per_k=0.04 * full_w,
        ambient_k_per_w=plate.heatsink_k_per_w,
        capacity_j_per_k=plate.heatsink_time_constant_s / plate.heatsink_k_per_w,
    )


def _protection(plate: Plate) -> ProtectionSimulation:
    return ProtectionSimulation(
        temperature_c=plate.heatsink_maximum_c + 10.0,
        restart_c=plate.heatsink_maximum_c - 10.0,
        low_voltage_v=plate.supply_minimum_v - 1.0,
    )
