"""Faults drawn at random, as lines of a bench file's `simulation:` section."""

from __future__ import annotations

import math
import random
from typing import get_args

from benchctl.documents.bench_file.faults import LinkFaultKind

ROLES = ("generator", "oscilloscope", "load", "supply", "thermometer")
RELAYS = (101, 102, 103, 104)

RUN_S = 7.5
"""About how long the short sequence lasts; a fault begins anywhere in it."""

EXCHANGES = {"generator": 35, "oscilloscope": 165, "load": 20, "supply": 105, "thermometer": 40}
"""About how many exchanges an instrument has in the short sequence."""

MOST_FAULTS = 4

LINK_KINDS: tuple[str, ...] = (*get_args(LinkFaultKind), "late answer")
BENCH_KINDS = ("output stuck", "relay stuck", "sensor open", "supply drift", "clock jump")
KINDS = (*LINK_KINDS, *BENCH_KINDS)
WRONG_KINDS = ("wrong by a factor", "one channel for all", "sensor stuck")
"""Wrong readings have a separate campaign: `benchmarks.contradictions`."""


def draw_faults(chance: random.Random) -> list[str]:
    """One fault to four, each a line such as `{kind: no answer, instrument: supply, at: 3.2 s, times: 2}`.

    In every second run they come together: a fault is worst while another is being handled.
    """
    together = f"at: {chance.uniform(0, RUN_S):.2f} s" if chance.random() < 0.5 else ""
    return [_fault(chance, together) for _ in range(chance.randint(1, MOST_FAULTS))]


def _fault(chance: random.Random, together: str) -> str:
    kind = chance.choice(KINDS)
    role = _role(chance, kind)
    parts = [f"kind: {kind}", *([f"instrument: {role}"] if role else []), *_what(chance, kind, role)]
    parts.append(together or _when(chance, role))
    parts += _how_long(chance, kind)
    return "{" + ", ".join(parts) + "}"


def _role(chance: random.Random, kind: str) -> str:
    fixed = {"relay stuck": "load", "sensor open": "thermometer", "supply drift": "supply", "clock jump": ""}
    if kind == "output stuck":
        return chance.choice(("generator", "supply"))
    return fixed.get(kind) or ("" if kind == "clock jump" else chance.choice(ROLES))


def _what(chance: random.Random, kind: str, role: str) -> list[str]:
    match kind:
        case "output stuck" if role == "supply":
            return [f"output: {chance.choice(('main', 'remote'))}"]
        case "relay stuck":
            return [f"relay: {chance.choice(RELAYS)}"]
        case "sensor open":
            return [f"sensor: {chance.choice(('heatsink', 'ambient', 'load'))}"]
        case "supply drift":
            return [f"by: {chance.uniform(-6, 6):.2f} V", f"over: {chance.uniform(0.1, 10):.2f} s"]
        case "clock jump":
            return [f"by: {chance.uniform(-10, 60):.1f} s"]
    return []


def _when(chance: random.Random, role: str) -> str:
    match chance.choice(("at", "exchange", "probability")):
        case "at":
            return f"at: {chance.uniform(0, RUN_S):.2f} s"
        case "exchange":
            return f"exchange: {chance.randint(1, EXCHANGES.get(role, sum(EXCHANGES.values())))}"
        case _:
            return f"probability: {10 ** chance.uniform(-1.0, math.log10(20.0)):.3f} %"


def _how_long(chance: random.Random, kind: str) -> list[str]:
    """One or two exchanges, some time, or for ever; otherwise the fault's own default."""
    choices = [[], [f"for: {chance.uniform(0.1, 3.0):.2f} s"], ["for: 1 h"]]
    if kind in LINK_KINDS:
        choices += [[f"times: {chance.randint(2, 6)}"], []]
    return chance.choice(choices)
