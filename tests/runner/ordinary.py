"""Edits of the workshop's bench that make an ordinary one of it: no thermometer, loads by hand, one probe for all."""

from __future__ import annotations

from tests.runner.rig import Edits, shipped

_BENCH = shipped("benches", "workshop")


def _section(begin: str, end: str) -> str:
    """The text of the bench file from one line to before another."""
    return _BENCH[_BENCH.index(begin) : _BENCH.index(end)]


_THERMOMETER = _section("  thermometer:\n", "signals:")
_LOAD = _section("  load:\n", "  supply:\n")
_HAND_LOADS = "loads:\n  by: hand\n  resistors:\n" + _LOAD[
    _LOAD.index("      - ") : _LOAD.index("    calibrated:")
].replace("      - ", "    - ").replace(" relay: 101,", "").replace(" relay: 102,", "").replace(
    " relay: 103,", ""
).replace(" relay: 104,", "")
_LIMITS = "limits:  "
_INPUTS = "inputs: {by: relay, relays: {A: 111, B: 112}}"
_LOAD_LIMIT = "  load: {above: 180 degC}\n"

SILENT_ON_HEATSINK: Edits = {_THERMOMETER: "", _LOAD_LIMIT: ""}
NO_THERMOMETER: Edits = {**SILENT_ON_HEATSINK, _LIMITS: "unwatched: [heatsink]\nlimits:  "}
LOADS_BY_HAND: Edits = {_LOAD: "", _INPUTS: _HAND_LOADS}
ONE_PROBE: Edits = {"    B: {oscilloscope: 2,": "    B: {oscilloscope: 1,", _LIMITS: "probes: {by: hand}\nlimits:  "}
ONLY_A: Edits = {
    _section("    B: {oscilloscope: 2,", "  supply_current: {oscilloscope: 3"): "",
    _LIMITS: "unwatched: [output B]\nlimits:  ",
}


def connected(ohm: str) -> Edits:
    """Loads by hand, some of which are connected when a run begins."""
    return {**LOADS_BY_HAND, _INPUTS: _HAND_LOADS.replace("  by: hand\n", f"  by: hand\n  connected: {ohm}\n")}
