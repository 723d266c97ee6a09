"""Widths that are limits: what they allow for cannot be drawn by this campaign, or is not known of any one record, so
their errors spread less than U says. Such a figure is judged by whether it is covered, not by its spread."""

from __future__ import annotations

from collections.abc import Mapping

_SHAPE = "U allows for round and for level tops, and for a corner where the supply gives way; nobody knows which it is"

LIMITED: Mapping[str, str] = {
    "burst: thd_n": (
        "a dozen cycles tell little of whether they differ, so U allows that the worst one does; regulated rails make "
        "them alike"
    ),
    "burst: droop": (
        "U allows for steps of a coarse converter that are not alike; those of a simulated one are. Of a fine one, the "
        "highest of noisy samples scatters a little less than U says"
    ),
    "burst: supply_voltage_sag": _SHAPE,
    "continuous: supply_voltage_sag": _SHAPE,
    "continuous: supply_current_peak": (
        f"{_SHAPE}. Of 8 bits, what seems noise may be one current at the edge between two codes"
    ),
    "continuous: static_sag": "of 8 bits, half a step may be hidden of either mean, and the other way",
}
"""Figure -> why its U is a limit."""
