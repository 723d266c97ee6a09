"""Whether the reason that preflight gives for a refusal truly holds, by the files alone and by formulas of its own."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

from benchctl.runner.acting.run import Files
from benchmarks.benches.drawing import EFFICIENCY, SUPPLY_V

# What an amplifier may give above its plate (common practice).
OVER_PLATE = 1.2


def is_right(hazard: str, files: Files) -> bool:
    """Whether a known reason holds; a reason that nobody here knows counts as wrong, so that a person looks at it."""
    return any(re.search(words, hazard) and holds(files) for words, holds in _REASONS.items())


def _nothing_stops_it(files: Files) -> bool:
    limits = (*files.sequence.limits.items(), *files.bench.limits.items())
    return "heatsink" in files.bench.unwatched and not any(signal == "supply_current" for signal, _ in limits)


def _supply_is_too_small(files: Files) -> bool:
    """Full power above the plate asks for more than the supply's current limit."""
    amplifier, supply = files.amplifier, files.bench.instruments.supply
    rated_w = sum(max(line.power_w for line in amplifier.rated) for _ in amplifier.channels)
    full_a = OVER_PLATE * rated_w / EFFICIENCY[str(amplifier.amplifier_class)] / SUPPLY_V
    return supply is None or full_a > supply.main.current_a


_REASONS: Mapping[str, Callable[[Files], bool]] = {
    "nothing watches the heatsink, and neither": _nothing_stops_it,
    "the supply's current limit is": _supply_is_too_small,
}
