"""The model's numbers from those that are fitted, by name: rails and converter at the nominal supply voltage."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import numpy as np

from benchctl.fit.model.physics import Kind, Physics, Samples

Number = TypeVar("Number", float, Samples)

HARDEST, SOFTEST = 2e-4, 0.9
"""Parts of the limit over which clipping may set in; below the first, no record tells it from hard clipping."""


def told_of_converter(kind: Kind) -> str:
    """The name of what is fitted of the converter. Class AB draws a current, so the supply's current tells n/eta
    whatever the rail is. Class D draws a power, so it tells the efficiency."""
    return "efficiency" if kind.switching else "input_ratio"


def efficiency_of(get: Callable[[str], Number], kind: Kind, nominal_v: float) -> Number:
    """Of the converter; n/eta is its ratio over it."""
    if kind.switching:
        return get("efficiency")
    return (get("headroom_v") + get("saturation_v")) / nominal_v / get("input_ratio")


def assembled(
    get: Callable[[str], Samples],
    kind: Kind,
    nominal_v: float,
    *,
    supply_v: Samples,
    load_ohm: Samples,
    peak_v: Samples,
    dc_v: Samples,
    phase: Samples,
    angular_hz: Samples,
) -> Physics:
    """`get`: the value of each parameter of the circuit in every column."""
    headroom_v, saturation_v = get("headroom_v"), get("saturation_v")
    ratio = (headroom_v + saturation_v) / nominal_v
    steady_a = get("idle_a") * get("steady_share")
    rail_v = ratio * nominal_v
    efficiency = efficiency_of(get, kind, nominal_v)
    rail_a = (get("idle_a") - steady_a) * efficiency / ratio
    switching_a = rail_a * get("switching_share") if kind.switching else np.zeros_like(rail_a)
    return Physics(
        supply_v=supply_v,
        path_ohm=get("path_ohm"),
        steady_a=steady_a,
        ratio=ratio,
        held_v=rail_v,
        efficiency=efficiency,
        stiffness_ohm=get("stiffness_ohm"),
        reservoir_f=get("reservoir_f"),
        bleed_ohm=get("bleed_ohm"),
        bias_a=(rail_a - switching_a - rail_v / get("bleed_ohm")) * get("bias part"),
        saturation_v=saturation_v,
        knee=np.clip(get("knee"), HARDEST, SOFTEST),
        conduction_ohm=get("conduction_ohm") if kind.switching else np.zeros_like(rail_a),
        switching_s=switching_a / rail_v,
        # A loss of p at a sine that reaches the rail V of so many halves: edges·V·(2/pi)·I = p·(halves·V)·I/2.
        edges=get("lost at edges") * kind.halves * np.pi / 4.0 if kind.switching else np.zeros_like(rail_a),
        output_ohm=get("output_ohm"),
        load_ohm=load_ohm,
        peak_v=peak_v,
        dc_v=dc_v,
        phase=phase,
        angular_hz=angular_hz,
    )
