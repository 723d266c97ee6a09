"""What a comparison of the heatsink's sensor with the heat in it must know."""

from __future__ import annotations

from dataclasses import dataclass

from benchctl.measure.analyses.context import IdleContext


@dataclass(frozen=True, kw_only=True)
class WarmthContext(IdleContext):
    """`heatsink_k_per_w`, `time_constant_s`: what the amplifier file says of the heatsink. `idle_w`: what the amplifier
    takes at idle, by its file, all of it heat; `least_heat`: the part of what it takes beyond that which stays in it at
    least."""

    heatsink_k_per_w: float
    time_constant_s: float
    idle_w: float
    least_heat: float
