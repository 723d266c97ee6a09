"""A run that holds a drive for long, so that something can happen to it, and how its journal must end."""

from __future__ import annotations

from tests.runner.rig import Rig

IDLE = "measure_idle: {for: 1 s}"
LONG_HOLD = "hold: {for: 2 h}"
DRIVEN = "set: {load: 4 ohm, frequency: 1 kHz, level: 500 mV}"


def journal_ends_safe(bench: Rig) -> bool:
    *_, safe_state, ended = [event for event in bench.events() if event["event"] in {"safe state", "run ended"}]
    confirmed = all(part["confirmed"] for part in safe_state["instruments"])
    return bool(safe_state["state"] == "safe" and confirmed and bench.events()[-1] == ended and ended["safe"])
