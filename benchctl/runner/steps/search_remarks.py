"""What a person must know of a search besides its result: a level far below the plate, and distortion below it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from benchctl.measure.search.clean_level import CleanLevelSearch
from benchctl.measure.search.outcome import Found, NeverClean, SameAtEveryLevel
from benchctl.measure.search.tried_level import TriedLevel
from benchctl.quantity import render

# A quarter of the power that the plate promises.
_FAR_DB = 6.0
# Nearer to the result than this, distortion that does not repeat may put a level on either side of the bound.
_BESIDE_DB = 0.5
# Distortion within so little over so wide a stretch below the result does not depend on the level; from half the bound
# on it makes the part that is left for clipping smaller by 13 % and more (they add in quadrature).
_SAME_DB = 1.0
_STRETCH_DB = 12.0
_MUCH = 0.5


class Plate(NamedTuple):
    """What the plate promises into a load."""

    power_w: float
    load_ohm: float


def remarks_of(search: CleanLevelSearch, plate: Plate | None) -> Iterator[str]:
    """One sentence each, in the order of the levels; none where distortion exceeds the bound at every level, which the
    search itself says."""
    if not isinstance(search.outcome, NeverClean):
        yield from _of_other_distortion(search)
    if isinstance(search.outcome, Found):
        yield from _of_same_distortion(search, search.outcome)
        yield from _of_low_result(search, search.outcome, plate)


def same_in_words(same: SameAtEveryLevel, bound: str) -> str:
    """Why nothing is said of clipping where distortion does not depend on the level."""
    name = f" of output {same.channel}" if same.channel else ""
    least = f"{render(same.distortion, '1', digits=2)} at {render(same.level_v, 'V')}"
    return (
        f"inconclusive: distortion{name} is above {bound} and about the same from {render(same.lowest_v, 'V')} to "
        f"{render(same.highest_v, 'V')}, least {least}, while the gain stays: it is not clipping, and hides where "
        "clipping begins. A filter or an all-pass changes the shape of a burst so at every level, and a dead half of "
        "an output stage that of any tone: look at the record, and try `find_clean_level`, whose tone is steady"
    )


def _of_other_distortion(search: CleanLevelSearch) -> Iterator[str]:
    """Of each stretch of tried levels below the result where something else than clipping exceeds the bound."""
    bound = render(search.bound, "1")
    for stretch in _stretches(search):
        most = max(stretch, key=lambda level: level.distortion)
        lowest, highest = render(stretch[0].level_v, "V"), render(stretch[-1].level_v, "V")
        at = f"at {lowest}" if lowest == highest else f"from {lowest} to {highest}"
        yield (
            f"distortion exceeds {bound} {at} too, as measured, by up to {render(most.distortion, '1', digits=2)} at "
            f"{render(most.level_v, 'V')}. It falls again as the level rises, so it is not clipping; crossover "
            "distortion, noise and hum do so"
        )


def _stretches(search: CleanLevelSearch) -> Iterator[Sequence[TriedLevel]]:
    """Neighbouring levels, in rising order, whose own distortion and not the record's floor exceeds the bound."""
    stretch: list[TriedLevel] = []
    for level in search.known.levels:
        if search.known.says(level) == "other" and not level.is_bound and not _is_beside_result(search, level):
            stretch.append(level)
        elif stretch:
            yield stretch
            stretch = []
    if stretch:
        yield stretch


def _is_beside_result(search: CleanLevelSearch, level: TriedLevel) -> bool:
    found = search.outcome
    return isinstance(found, Found) and 20.0 * math.log10(found.level_v / level.level_v) < _BESIDE_DB


def _of_same_distortion(search: CleanLevelSearch, found: Found) -> Iterator[str]:
    """Of distortion that takes much of the bound already far below the result, and does not depend on the level."""
    low = [
        level
        for level in search.known.levels
        if not level.is_bound and 20.0 * math.log10(found.level_v / level.level_v) > _BESIDE_DB
    ]
    if not low or low[-1].level_db - low[0].level_db < _STRETCH_DB:
        return
    least, most = min(level.distortion for level in low), max(level.distortion for level in low)
    if 20.0 * math.log10(most / least) > _SAME_DB or not _MUCH * search.bound <= least <= most <= search.bound:
        return
    yield (
        f"distortion is about the same, {render(least, '1', digits=2)} to {render(most, '1', digits=2)}, from "
        f"{render(low[0].level_v, 'V')} to {render(low[-1].level_v, 'V')} already. It is not clipping, and counts in "
        f"the bound of {render(search.bound, '1')} all the same: the result is lower than clipping alone would make "
        "it. A filter or an all-pass changes the shape of a burst so"
    )


def _of_low_result(search: CleanLevelSearch, found: Found, plate: Plate | None) -> Iterator[str]:
    over = next((level for level in search.known.over if level.gains), None)
    if plate is None or over is None:
        return
    power_w = (over.gains[over.channel] * found.crossing_v) ** 2 / plate.load_ohm
    below_db = 10.0 * math.log10(plate.power_w / power_w)
    if below_db <= _FAR_DB:
        return
    why = (
        "the gain gives way above it, as in clipping"
        if any(search.known.surely_clips(level) for level in search.known.over)
        else "nothing shows that the amplifier clips there: its gain does not give way"
    )
    name = f" of output {over.channel}" if over.channel else ""
    yield (
        f"the result, {render(power_w, 'W', digits=2)}{name}, lies {below_db:.1f} dB under the plate, which says "
        f"{render(plate.power_w, 'W')} into {render(plate.load_ohm, 'ohm')}; {why}"
    )
