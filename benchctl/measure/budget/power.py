"""Output power from voltage and the load's resistance, per channel and in total.

A bridged pair is one channel: its load lies between its two outputs, and its voltage is the one between them.
"""

from __future__ import annotations

from collections.abc import Mapping

from uncertainties import UFloat

from benchctl.errors import MeasurementError

TOTAL = "total"


def load_power(rms_v: UFloat, resistance_ohm: UFloat) -> UFloat:
    """P = V^2 / R in W, from the true rms over whole cycles and the load's resistance at its temperature."""
    return rms_v * rms_v / resistance_ohm


def by_channel(power_w: Mapping[str, UFloat], *, is_every_load: bool) -> dict[str, UFloat]:
    """Channel -> power, and their sum under "total" where these are all the loads there are."""
    if not power_w:
        raise MeasurementError("no channel has both a load and a record")
    return {**power_w, **({TOTAL: sum(power_w.values())} if is_every_load else {})}
