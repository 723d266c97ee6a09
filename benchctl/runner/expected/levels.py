"""Converts a level as it is written in a sequence into volts at the output."""

from __future__ import annotations

import math

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.model.level import Level

# 10 dB below rated power: no clipping, far from noise, and a load that stays cool (IEC 60268-3, from memory).
QUIET = Level(0.1, "rated")


def output_v(level: Level, amplifier: Amplifier, load_ohm: float) -> float:
    """V RMS at each output for a power into each load, or for a fraction of rated power."""
    if level.of == "watts":
        return math.sqrt(level.value * load_ohm)
    return math.sqrt(level.value) * amplifier.rated_voltage_v(load_ohm)
