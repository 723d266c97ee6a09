"""Physics of a stand-in from the rating plate: what an amplifier with these ratings would plausibly be made of.

Two rated loads fix a resistive source: at rated power the tips are clipped to 1 % distortion, so each rating gives the
rail under its own current, and the line through both gives the open rail and its stiffness.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from benchctl.documents.simulation import AmplifierSimulation, HeatsinkSimulation, ProtectionSimulation
from benchctl.simulator.clipping import clipped_sine, overdrive_at
from benchctl.simulator.description import Physics, Plate, RatedLoad

POWER_MARGIN = 1.03
"""A maker rates a little below what the amplifier gives."""

SATURATION_V = 1.6
OUTPUT_OHM = 0.02
EFFICIENCY = 0.92
HOUSEKEEPING_W = 4.0
RAIL_TIME_CONSTANT_S = 0.0108
"""stiffness times reservoir; common practice: reservoirs hold for about ten milliseconds"""
ONE_LOAD_DROP = 0.10
"""by how much the rail falls under rated load where one rated load alone cannot tell"""
STIFFEST_DROP = 0.01
"""by how much even a regulated rail falls"""


def derive_physics(plate: Plate, given: AmplifierSimulation | None = None) -> Physics:
    """Complete physics: what `given` says, and for the rest what follows from the plate.

    Raises:
        ValueError: the plate rates no load, or a load or power that is not positive.
    """
    if not plate.rated or min(min(line.load_ohm, line.power_w) for line in plate.rated) <= 0:
        raise ValueError("the plate must rate at least one load, and loads and powers must be positive")
    given = given or AmplifierSimulation()
    stage = Physics(**(_guesses(plate) | _stated(given)))
    rail_v, stiffness_ohm = _rail(plate, stage.saturation_v, stage.output_resistance_ohm)
    stage = replace(stage, **({"rail_v": rail_v, "rail_stiffness_ohm": stiffness_ohm} | _stated(given)))
    last = {
        "reservoir_f": RAIL_TIME_CONSTANT_S / stage.rail_stiffness_ohm,
        "bias_current_a": _bias_a(plate, stage),
    }
    return replace(stage, **(last | _stated(given)))


def _stated(given: AmplifierSimulation) -> dict[str, Any]:
    return {name: value for name, value in given if value is not None}


def _guesses(plate: Plate) -> dict[str, Any]:
    """What the plate alone suggests; zeros where the rest follows from these."""
    return {
        "gain": plate.gain,
        "rail_v": 0.0,
        "rail_stiffness_ohm": 0.0,
        "reservoir_f": 0.0,
        "saturation_v": SATURATION_V,
        "output_resistance_ohm": OUTPUT_OHM,
        "converter_efficiency": EFFICIENCY,
        "bias_current_a": 0.0,
        "housekeeping_w": HOUSEKEEPING_W,
        "standby_current_a": 0.004,
        "noise_v": 0.0003,
        "offset_v": {channel: 0.005 * (-1) ** index for index, channel in enumerate(plate.channels)},
        "heatsink": _heatsink(plate),
        "protection": _protection(plate),
        "turn_on_delay_s": 0.75 * plate.turn_on_delay_s,
        "soft_start_s": min(0.1, 0.5 * plate.turn_on_delay_s),
    }


def _rail(plate: Plate, saturation_v: float, output_ohm: float) -> tuple[float, float]:
    """Open rail and its stiffness from the rated loads."""
    points = sorted(_under_load(plate, line, saturation_v, output_ohm) for line in plate.rated)
    (light_a, light_v), (heavy_a, heavy_v) = points[0], points[-1]
    if heavy_a <= light_a:
        stiffness_ohm = ONE_LOAD_DROP * heavy_v / heavy_a
    else:
        stiffness_ohm = max((light_v - heavy_v) / (heavy_a - light_a), STIFFEST_DROP * heavy_v / heavy_a)
    # The open rail must be high enough for every rating.
    return max(volts + stiffness_ohm * amperes for amperes, volts in points), stiffness_ohm


def _under_load(plate: Plate, line: RatedLoad, saturation_v: float, output_ohm: float) -> tuple[float, float]:
    """Current out of the rail and the rail itself at rated power, all channels driven."""
    shape = clipped_sine(overdrive_at(line.distortion), 0.0, 1.0)
    path_ohm = line.load_ohm + output_ohm
    limit_v = math.sqrt(POWER_MARGIN * line.power_w * line.load_ohm / shape.square_v2) * path_ohm / line.load_ohm
    current_a = len(plate.channels) * shape.absolute_v * limit_v / path_ohm
    return current_a, limit_v + saturation_v


def _bias_a(plate: Plate, physics: Physics) -> float:
    """Per channel, from rail to rail, so that the idle current comes out as stated (20 mA if nothing is)."""
    if plate.idle_current_a is None:
        return 0.02
    idle_w = plate.idle_current_a * plate.supply_nominal_v - physics.housekeeping_w
    per_ampere_w = 2 * physics.rail_v * len(plate.channels) / physics.converter_efficiency
    return max(idle_w / per_ampere_w, 0.001)


def _heatsink(plate: Plate) -> HeatsinkSimulation:
    """A heatsink that reaches its maximum in a room of 25 degC at about a third of full power for ever."""
    full_w = max(line.power_w for line in plate.rated) * len(plate.channels)
    # A class AB stage dissipates about 0.4 of its ideal full power at a third of it (clipping.py's theory).
    ambient_k_per_w = max(plate.heatsink_maximum_c - 25.0, 10.0) / (0.4 * full_w)
    return HeatsinkSimulation(
        junction_k_per_w=0.3 * ambient_k_per_w + 0.05,
        junction_capacity_j_per_k=0.04 * full_w,
        ambient_k_per_w=ambient_k_per_w,
        capacity_j_per_k=500.0 / ambient_k_per_w,
    )


def _protection(plate: Plate) -> ProtectionSimulation:
    return ProtectionSimulation(
        temperature_c=plate.heatsink_maximum_c + 10.0,
        restart_c=plate.heatsink_maximum_c - 10.0,
        low_voltage_v=plate.supply_minimum_v - 1.0,
    )
