"""The search for a level, shared by the steps that need one: the object of `measure` proposes, the bench answers."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from benchctl.archive.journal.events import SEARCH
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.sequence_file.power_steps import FindCleanLevel, MeasureBurst
from benchctl.errors import BurstNotFound, MeasurementError, SilentRecord, WrongFrequency
from benchctl.measure.search.clean_level import CleanLevelSearch
from benchctl.measure.search.outcome import AlreadyPassed, Found, NeverClean, NeverReached, SameAtEveryLevel
from benchctl.measure.search.settable import SettableLevels
from benchctl.measure.search.tried_level import TriedLevel
from benchctl.measure.signal.distortion import Distortion, Heard
from benchctl.quantity import render
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.limit_reach import higher_level_advice
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.steps.search_remarks import Plate, remarks_of, same_in_words

# An output that rises by less than this part of the level's rise, in dB, while it distorts little is held by a limiter
# or by a protection that turns the amplifier down: clipping to 1 % takes a tenth of a dB.
_HELD_PART = 0.5
# Levels of a generator that lie farther apart than so many times the resolution of a search say too little.
_COARSE = 2.0
# Two levels must lie so far apart for that to be judged.
_APART_DB = 3.0
# The gain of a compressor or limiter has come back by then, and a supply has recovered (common practice: releases last
# up to a second).
RECOVERY_S = 3.0


class Exposure(NamedTuple):
    """What one level showed: channel -> distortion, and channel -> its gain, by the RMS of the fundamental."""

    distortions: Mapping[str, Distortion]
    gains: Mapping[str, float]

    @classmethod
    def of(cls, heard: Mapping[str, Heard], level_v: float) -> Exposure:
        """From what was heard at each channel at a level."""
        gains = {channel: one.fundamental_v / level_v for channel, one in heard.items()}
        return cls({channel: one.distortion for channel, one in heard.items()}, gains)

    @property
    def worst_channel(self) -> str:
        """The one that distorts most."""
        return max(self.distortions, key=lambda channel: self.distortions[channel].ratio)


Expose = Callable[[float], Exposure]
Exposures = Mapping[float, Exposure]


@dataclass(frozen=True)
class LevelFound:
    """The level at which distortion is the bound, V rms, and its relative standard uncertainty; where the bound was
    not reached, the highest level known to keep it, with channel -> why it did not reach it there, and what to do."""

    level_v: float
    at_least: Mapping[str, str] = field(default_factory=dict)
    level_u: float = 0.0


def run_search(run: Run, search: CleanLevelSearch, expose: Expose, what: str) -> LevelFound:
    """Carry a search through.

    Args:
        expose: drives the amplifier at a level and returns what it showed there.
        what: what is searched, for notes.

    Raises:
        MeasurementError: the amplifier distorts already where the search starts, or at every level.
    """
    exposures = _carried_through(run, search, expose, what)
    return _level_found(run, search, exposures, what)


def run_rested_search(run: Run, new_search: Callable[[], CleanLevelSearch], expose: Expose, what: str) -> LevelFound:
    """Carry a search through as `run_search` does. Where it finds its start above the bound, it lets the amplifier rest
    and tries the start once more: what was driven before may have left its gain turned down."""
    search = new_search()
    exposures = _carried_through(run, search, expose, what)
    if not isinstance(search.outcome, AlreadyPassed):
        return _level_found(run, search, exposures, what)
    before = search.tried_levels[0]
    run.wait(RECOVERY_S)
    seen = expose(before.level_v)
    now = seen.distortions[seen.worst_channel]
    after = f"after a rest of {render(RECOVERY_S, 's')}"
    at_start = (
        f"{what}: distortion at {render(before.level_v, 'V')} was {render(before.distortion, '1', digits=3)} first"
    )
    if now.ratio > search.bound:
        run.note(f"{at_start}, and {render(now.ratio, '1', digits=3)} {after}: it does not go away")
        return _level_found(run, search, exposures, what)
    run.note(
        f"{at_start}, and {render(now.ratio, '1', digits=2)} {after}: the amplifier had not come to rest after the "
        "drive before; the gain of a compressor or limiter takes time to come back. The search starts again"
    )
    search = new_search()
    _answer(search, before.level_v, seen)
    return _level_found(run, search, {before.level_v: seen} | _carried_through(run, search, expose, what), what)


def _carried_through(run: Run, search: CleanLevelSearch, expose: Expose, what: str) -> dict[float, Exposure]:
    """Level -> what the amplifier showed there, until the search is over."""
    exposures: dict[float, Exposure] = {}
    try:
        while (level_v := search.propose()) is not None:
            try:
                seen = expose(level_v)
            except (SilentRecord, BurstNotFound, WrongFrequency):
                if search.answer_unseen(level_v):
                    continue
                raise
            exposures[level_v] = seen
            _answer(search, level_v, seen)
    except MeasurementError:
        _keep(run, search, what)
        raise
    _keep(run, search, what)
    return exposures


def _answer(search: CleanLevelSearch, level_v: float, seen: Exposure) -> None:
    worst = seen.distortions[seen.worst_channel]
    search.answer(level_v, worst.ratio, worst.is_bound, seen.worst_channel, seen.gains, scatter=worst.scatter)


# Digits of an output's voltage in the journal: more than any oscilloscope gives.
_DIGITS = 7


def _shown(tried: TriedLevel) -> dict[str, Any]:
    """What one exposure showed, with the RMS of the fundamental at the output that distorted most; none where the
    record was silent."""
    told = {"level_v": tried.level_v, "distortion": tried.distortion, "is_bound": tried.is_bound}
    if tried.channel not in tried.gains:
        return told
    output_v = float(f"{tried.gains[tried.channel] * tried.level_v:.{_DIGITS}g}")
    return told | {"channel": tried.channel, "output_v": output_v}


def _keep(run: Run, search: CleanLevelSearch, what: str) -> None:
    """What was tried goes into the journal, and what a person must know of it is told."""
    remarks = [f"{what}: {remark}" for remark in remarks_of(search, plate_of(run))]
    run.recorder.event(
        SEARCH,
        step=run.planned.label,
        what=what,
        exposures=[{**_shown(level), "says": search.known.says(level)} for level in search.tried_levels],
        remarks=remarks,
    )
    for remark in remarks:
        run.note(remark)


def _level_found(run: Run, search: CleanLevelSearch, exposures: Exposures, what: str) -> LevelFound:
    bound = render(search.bound, "1")
    match search.outcome:
        case Found() as found:
            if coarse := _between_coarse_levels(search, found, exposures):
                return LevelFound(found.level_v, coarse)
            level_v, level_u = _settable_at(search, found)
            return LevelFound(level_v, _stayed_below(search, found, exposures), level_u)
        case NeverReached(level_v=level_v):
            reasons = _never_reached(run, search, level_v, exposures)
            for reason in dict.fromkeys(reasons.values()):
                run.note(f"{what}: {reason}")
            return LevelFound(level_v, reasons)
        case AlreadyPassed(level_v=level_v):
            raise MeasurementError(
                f"{what}: distortion is above {bound} already at {render(level_v, 'V')}, where the search starts"
            )
        case NeverClean(level_v=level_v, distortion=distortion):
            raise MeasurementError(
                f"{what}: distortion is above {bound} at every level: it falls to {render(distortion, '1', digits=2)} "
                f"at {render(level_v, 'V')}, and beyond that the amplifier clips; look for noise or hum at its input, "
                "or give a higher `thd_n`"
            )
        case SameAtEveryLevel() as same:
            raise MeasurementError(f"{what}: {same_in_words(same, bound)}")
    raise MeasurementError(f"{what}: the search ended without an outcome")


def _settable_at(search: CleanLevelSearch, found: Found) -> tuple[float, float]:
    """The level that can be set nearest to the crossing, and how well the crossing is known by it. A level that was
    given, and beyond which the bound is passed at once, is kept: its record serves twice."""
    if found.distortion is None:
        return found.level_v, math.hypot(found.crossing_u, (found.crossing_v / found.level_v - 1.0) / math.sqrt(3.0))
    level_v = search.settable.nearest(found.crossing_v)
    beside = abs(level_v / found.crossing_v - 1.0)
    return level_v, math.hypot(found.crossing_u, beside / math.sqrt(3.0))


def _between_coarse_levels(search: CleanLevelSearch, found: Found, exposures: Exposures) -> dict[str, str]:
    """Channel -> that the generator has no level nearer to the bound, where its steps are far apart."""
    level_v, over_v = found.level_v, found.over_v
    if _db(over_v / level_v) <= _COARSE * search.resolution_db:
        return {}
    more = 100.0 * ((over_v / level_v) ** 2 - 1.0)
    reason = (
        f"the generator's next level, {render(over_v, 'V')}, is beyond {render(search.bound, '1')} of distortion, and "
        f"it has none between: up to {more:.2g} % more power may be clean; use a finer generator"
    )
    return dict.fromkeys(exposures[over_v].distortions, reason)


def _stayed_below(search: CleanLevelSearch, found: Found, exposures: Exposures) -> dict[str, str]:
    """Channel -> which one ended the search before it reached the bound itself."""
    level_v, over_v = found.level_v, found.over_v
    seen = exposures[over_v].distortions
    first = max(seen, key=lambda channel: seen[channel].ratio)
    below = exposures[level_v].distortions if level_v in exposures else {}
    reached = f"output {first} reached {render(search.bound, '1')} of distortion first, at {render(over_v, 'V')}"
    advice = "give `driven: each`, which measures every channel alone, or make the gains alike"
    return {
        channel: f"{reached}, where output {channel} showed {render(one.at_most, '1', digits=2)}; {advice}"
        for channel, one in seen.items()
        if not _is_at_bound(search, one.ratio, below.get(channel), _db(over_v / level_v))
    }


def _is_at_bound(search: CleanLevelSearch, ratio: float, below: Distortion | None, step_db: float) -> bool:
    """Whether a channel is beyond the bound, or would be if the level rose by another half of the search's resolution:
    nearer than that the search knows no level. Clipping grows ever faster, so a straight line puts that too high."""
    if ratio > search.bound:
        return True
    rise = 0.0 if below is None else (ratio - below.ratio) / step_db
    return ratio + rise * search.resolution_db / 2.0 > search.bound


def _never_reached(run: Run, search: CleanLevelSearch, level_v: float, exposures: Exposures) -> dict[str, str]:
    """Channel -> what kept it from the bound."""
    why = _why_no_higher(run, search, level_v)
    kept = f"showed distortion below {render(search.bound, '1')} up to {render(level_v, 'V')}"
    reasons = {}
    for channel in exposures[min(exposures)].distortions if exposures else run.files.amplifier.channels:
        held = _held(channel, level_v, exposures)
        reasons[channel] = f"output {channel} {kept}" + (held or why)
    return reasons


def _why_no_higher(run: Run, search: CleanLevelSearch, level_v: float) -> str:
    """Why `level_v` is the highest level known to keep the bound, and what to do."""
    tried_v = [level.level_v for level in search.tried_levels if level.distortion > search.bound]
    beyond_v = max((each for each in tried_v if each > level_v), default=None)
    if beyond_v is not None:
        return (
            f", and the worst channel was above that at every level tried beyond, up to {render(beyond_v, 'V')}: at "
            "first by something else than clipping; look for crossover distortion, noise or hum, or give a higher "
            "`thd_n`"
        )
    rated_v = rated_level_v(run.files.amplifier, run.conditions.load_ohm or 0.0) or 0.0
    wanted_v = 1.5 * max(level_v, search.highest_level_v, rated_v)
    return f", the highest level of the search; {higher_level_advice(run.files.bench, wanted_v)}"


def _held(channel: str, top_v: float, exposures: Exposures) -> str:
    """That the channel's output no longer followed the level, or an empty text."""
    lower_v = max((v for v in exposures if _db(top_v / v) >= _APART_DB), default=None)
    if lower_v is None or top_v not in exposures:
        return ""
    level_db = _db(top_v / lower_v)
    rise_db = level_db + _db(exposures[top_v].gains[channel] / exposures[lower_v].gains[channel])
    if rise_db >= _HELD_PART * level_db:
        return ""
    return (
        f", and rose by only {rise_db:.1f} dB while the level rose by {level_db:.1f} dB: a limiter, or a protection "
        "that turns the amplifier down, holds it; switch the limiter off, or let the amplifier cool, and measure again"
    )


def _db(ratio: float) -> float:
    return 20.0 * math.log10(ratio)


# Once the climb is within a step of the crossing, it takes three or four exposures to close in on it, and one more
# where a filter takes a part of the level (every shipped amplifier on the simulated bench).
CLOSING_EXPOSURES = 3.8
# These and the last of the climb draw, all together, what so many draw at full power.
NEAR_FULL_EXPOSURES = 5


def usual_exposures(step: FindCleanLevel | MeasureBurst, state: ExpectedState) -> float:
    """How many exposures a search usually takes: the one at its start, the climb by its steps, then closing in."""
    climb = min(state.rated_level_v, step.to_v) / step.from_v
    return 1 + max(0, math.ceil(math.log(climb) / math.log(step.step_ratio))) + CLOSING_EXPOSURES


def rated_level_v(amplifier: Amplifier, load_ohm: float) -> float | None:
    """The level at the input that gives rated power, V rms, where the plate has a rating for this load."""
    rating = amplifier.rating(load_ohm)
    return None if rating is None else math.sqrt(rating.power_w * load_ohm) / amplifier.gain_ratio


def plate_of(run: Run) -> Plate | None:
    """The power that the plate promises into the load that is set, where it does."""
    load_ohm = run.conditions.load_ohm
    rating = None if load_ohm is None else run.files.amplifier.rating(load_ohm)
    return None if rating is None or load_ohm is None else Plate(rating.power_w, load_ohm)


def search_from(
    run: Run,
    step: FindCleanLevel | MeasureBurst,
    start_v: float,
    *,
    is_clean: bool = False,
    expected_v: float | None = None,
) -> CleanLevelSearch:
    """A search for the bound of a step that starts at `start_v`, over the levels that the generator can be set to."""
    return CleanLevelSearch(
        step.thd_n,
        start_v,
        step.to_v,
        step_db=20.0 * math.log10(step.step_ratio),
        start_is_clean=is_clean,
        expected_level_v=expected_v,
        settable=SettableLevels(run.bench.generator.settable_around),
    )
