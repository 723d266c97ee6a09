"""Whether a search can reach rated power within the levels that it may try, and what to do if it cannot."""

from __future__ import annotations

import math

from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.sequence_file.power_steps import FindCleanLevel, MeasureBurst
from benchctl.quantity import render
from benchctl.runner.expected.state import ExpectedState

# Above the level of rated power: a maker rates a little below what comes, and the bound must be passed to be found.
_ROOM = 1.5
# Levels that a person would write.
_ROUND = (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)


def warn_of_short_search(step: FindCleanLevel | MeasureBurst, state: ExpectedState) -> None:
    """Add a warning if even the highest level of a search does not give rated power."""
    rating = state.amplifier.rating(state.load_ohm) if state.load_ohm is not None else None
    if rating is None or step.to_v >= state.rated_level_v:
        return
    most_w = (step.to_v * state.gain) ** 2 / rating.load_ohm
    state.warning(
        f"the search goes up to {render(step.to_v, 'V')}, which gives {render(most_w, 'W', digits=3)} into "
        f"{render(rating.load_ohm, 'ohm')} at a gain of {20.0 * math.log10(state.gain):.3g} dB, and the plate says "
        f"{render(rating.power_w, 'W')}: power could only be told as 'at least'; "
        f"{higher_level_advice(state.bench, _ROOM * state.rated_level_v)}"
    )


def higher_level_advice(bench: Bench, wanted_v: float) -> str:
    """How a search can reach `wanted_v` V RMS, or the output that this level gives."""
    generator = bench.instruments.generator
    highest_v = math.inf if generator is None else generator.ratings.level_v
    rounded_v = _rounded_up(wanted_v)
    if rounded_v <= highest_v:
        return f"give `to: {render(rounded_v, 'V')}`, or turn the amplifier's gain control up"
    return f"turn the amplifier's gain control up: the generator gives no more than {render(highest_v, 'V')}"


def _rounded_up(level_v: float) -> float:
    decade = 10.0 ** math.floor(math.log10(level_v))
    return next((step * decade for step in _ROUND if step * decade >= level_v * (1.0 - 1e-9)), 10.0 * decade)
