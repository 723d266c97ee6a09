"""Output power from voltage and the load's resistance, per channel, in total, and for a bridged pair."""

from __future__ import annotations

from collections.abc import Mapping

from uncertainties import UFloat

from benchctl.errors import MeasurementError

TOTAL = "total"


def load_power(rms_v: UFloat, resistance_ohm: UFloat) -> UFloat:
    """P = V^2 / R in W, from the true rms over whole cycles and the load's resistance at its temperature."""
    return rms_v * rms_v / resistance_ohm


def bridged_half_load(load_ohm: float) -> float:
    """What each half of a bridged pair sees of a load R between the two outputs: R / 2, in ohm."""
    return load_ohm / 2.0


def by_channel(power_w: Mapping[str, UFloat], *, bridged: bool = False) -> dict[str, UFloat]:
    """Channel -> power, and their sum under "total".

    A bridged pair has one load and one voltage, given under one channel: half the total is the share of each half.
    """
    if not power_w:
        raise MeasurementError("no channel has both a load and a record")
    total = sum(power_w.values())
    if not bridged:
        return {**power_w, TOTAL: total}
    if len(power_w) != 1:
        raise MeasurementError("a bridged pair has one output voltage and one load")
    return {"A": total / 2.0, "B": total / 2.0, TOTAL: total}
