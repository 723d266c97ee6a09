"""The search for the highest level at which distortion keeps a bound, with few exposures to full power.

The search holds no instrument. It proposes a level, is told the distortion there, and proposes the next:

    search = CleanLevelSearch(bound=0.01, start_level_v=0.01, highest_level_v=2.0)
    while (level_v := search.propose()) is not None:
        search.answer(level_v, distortion_at(level_v))
    match search.outcome: ...

It climbs from below and never proposes more than `step_db` above the highest level at which the amplifier is known
not to clip. Distortion above the bound that falls again as the level rises is not clipping: it is noise, or crossover
distortion, and the search goes on beyond it. Clipping far below the level of rated power is believed only once the
amplifier's gain gives way too.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from benchctl.errors import MeasurementError
from benchctl.measure.search.crossing import Crossing, predict
from benchctl.measure.search.knowledge import Knowledge
from benchctl.measure.search.outcome import (
    AlreadyPassed,
    NeverClean,
    NeverReached,
    Outcome,
    SameAtEveryLevel,
    found_between,
)
from benchctl.measure.search.settable import ANY_LEVEL, SettableLevels
from benchctl.measure.search.tried_level import TriedLevel, to_db, to_ratio

RESOLUTION_DB = 0.05
_CAREFUL_STEP_DB = 1.0  # the first step onward from a level believed to be near clipping; doubled each time
_CONFIRM_STEP_DB = 2.0  # beyond what may be clipping, to see whether distortion falls or the gain gives way; doubled
_MOST_CONFIRMING = 4  # such steps in one search
_PROBE_DOWN_DB = 3.0  # noise rises by as much, clipping falls: far enough apart to tell
_AIM = 0.4  # of the resolution: how far beside the predicted crossing to expose, so that two exposures enclose it
_FAR_BELOW_DB = 12.0  # from there noise falls to a quarter on the way up: whatever else it was, it does not count
_PATIENCE = 4  # exposures that may pass without halving the bracket before it is halved outright
_NARROW = 1.3  # of the resolution: a prediction this sharp is worth aiming beside
_VALLEY_DB = 0.5  # between what is not clipping and clipping, a clean level is looked for as finely as that
_LONGEST = 60  # exposures; no search that gets anywhere takes half as many
_LEAST_SEEN = 1e-9  # a distortion of nothing at all counts as so much
_ROUNDING = 1e-9


class CleanLevelSearch:
    """Finds the highest level whose distortion is at most `bound`, to `resolution_db`.

    Levels are volts RMS, `bound` is a ratio. `start_is_clean` says that the start level needs no exposure of its own.
    `expected_level_v` is the level of rated power: it chooses where to land, and clipping far below it must be
    confirmed. `settable` are the levels that it may propose: between two neighbours of a coarse generator the search is
    over.
    """

    def __init__(
        self,
        bound: float,
        start_level_v: float,
        highest_level_v: float,
        *,
        step_db: float = 6.0,
        resolution_db: float = RESOLUTION_DB,
        start_is_clean: bool = False,
        expected_level_v: float | None = None,
        settable: SettableLevels = ANY_LEVEL,
    ) -> None:
        _refuse_nonsense(bound, start_level_v, highest_level_v, step_db, resolution_db)
        self.bound = bound
        self.step_db = step_db
        self.resolution_db = resolution_db
        self.outcome: Outcome | None = None
        self.settable = settable
        self._start_db = to_db(start_level_v)
        self._highest_db = to_db(max(settable.at_most(highest_level_v), start_level_v))
        self._given_clean_db = self._start_db if start_is_clean else None
        self._expected_db = None if expected_level_v is None else to_db(expected_level_v)
        self._tried_levels: list[TriedLevel] = []
        self._careful_steps = 0
        self._confirm_steps = 0
        self._widths_db: list[float] = []
        self._pending_v: float | None = None
        self._known = self._knowledge()
        self._conclude()

    def _knowledge(self) -> Knowledge:
        return Knowledge(self._tried_levels, self.bound, self._given_clean_db, self._expected_db)

    @property
    def tried_levels(self) -> Sequence[TriedLevel]:
        """Every exposure so far, in the order in which they were answered."""
        return tuple(self._tried_levels)

    @property
    def highest_level_v(self) -> float:
        """The highest level that it may propose."""
        return to_ratio(self._highest_db)

    @property
    def known(self) -> Knowledge:
        """What they say together."""
        return self._known

    def propose(self) -> float | None:
        """The next level to try in V RMS, or None when the search is over. The same level until it is answered."""
        if self.outcome is not None:
            return None
        if self._pending_v is None:
            level_v = to_ratio(min(self._next_db(), self._highest_db))
            tried_v = [level.level_v for level in self._tried_levels]
            self._pending_v = self.settable.near(level_v, tried_v, to_ratio(self._farthest_db()))
        return self._pending_v

    def answer(
        self,
        level_v: float,
        distortion: float,
        is_bound: bool = False,
        channel: str = "",
        gains: Mapping[str, float] | None = None,
        *,
        scatter: float = 0.0,
    ) -> None:
        """Tell the distortion (a ratio) measured at a level, with what `TriedLevel` says of it.

        Raises:
            MeasurementError: a distortion that is not a number; or noise hides the bound at every level; or the search
                does not come to an end.
        """
        if not (math.isfinite(distortion) and distortion >= 0.0 and math.isfinite(level_v) and level_v > 0.0):
            raise MeasurementError(f"a distortion of {distortion} at {level_v} V cannot be judged")
        self._pending_v = None
        seen = max(distortion, _LEAST_SEEN)
        self._tried_levels.append(TriedLevel(level_v, seen, is_bound, channel, gains or {}, scatter))
        self._known = self._knowledge()
        self._refuse_hidden_bound(self._tried_levels[-1])
        if len(self._tried_levels) >= _LONGEST:
            raise MeasurementError(f"the search has not ended after {_LONGEST} levels: distortion does not repeat")
        self._conclude()

    def answer_unseen(self, level_v: float) -> bool:
        """Tell that a level is so low that the record does not show it; whether the search goes on from there.

        It does up to a hundredth of rated power, in its usual steps: a signal that is hidden so low is no fault.
        """
        if not self._known.is_quiet(to_db(level_v)):
            return False
        self.answer(level_v, 1.0, is_bound=True)
        return True

    def _refuse_hidden_bound(self, last: TriedLevel) -> None:
        is_hidden = last.is_bound and self._known.says(last) == "over" and len(self._tried_levels) > 1
        if is_hidden and self._known.clean_db is None:
            raise MeasurementError(
                f"noise is higher than the bound: at {last.level_v:.4g} V the distortion can only be said to be at "
                f"most {last.distortion:.3g}, and the bound is {self.bound:.3g}"
            )

    # How it ends

    def _conclude(self) -> None:
        known = self._known
        if known.over:
            self._conclude_with_over(known.over[0])
        elif known.unclipped_db is not None and known.unclipped_db >= self._highest_db - _ROUNDING:
            self._conclude_at_the_top()

    def _conclude_at_the_top(self) -> None:
        if self._known.clean_db is None:
            raise MeasurementError(
                f"noise alone is above the bound of {self.bound:.3g} up to the highest level allowed"
            )
        self.outcome = NeverReached(to_ratio(self._known.clean_db))

    def _conclude_with_over(self, over: TriedLevel) -> None:
        known = self._known
        if known.unclipped_db is None or self._first_was_over:
            if len(self._tried_levels) > 1 and not self._must_confirm:
                self.outcome = self._never_within()
            return
        width_db = over.level_db - known.unclipped_db
        self._widths_db.append(width_db)
        if self._is_clean_below_over:
            self._conclude_between(known.unclipped_db, over)
        elif width_db <= _VALLEY_DB or not self._is_between(known.unclipped_db, over):
            self._conclude_without_clean()

    def _never_within(self) -> Outcome:
        """The bound is exceeded where the search starts, and what exceeds it does not fall."""
        if self._known.is_same_at_every_level:
            return self._same_at_every_level()
        return AlreadyPassed(min(level.level_v for level in self._known.levels if level.distortion > self.bound))

    def _same_at_every_level(self) -> SameAtEveryLevel:
        over = self._known.over
        least = min(over, key=lambda level: level.distortion)
        return SameAtEveryLevel(
            least.level_v, least.distortion, over[0].level_v, over[-1].level_v, channel=least.channel
        )

    def _conclude_between(self, clean_db: float, over: TriedLevel) -> None:
        is_narrow = over.level_db - clean_db <= self.resolution_db + _ROUNDING
        if (is_narrow or not self._is_between(clean_db, over)) and not self._must_confirm:
            confirmed = self._known.is_confirmed
            self.outcome = found_between(self._known.clean, clean_db, over, self.bound, is_confirmed=confirmed)

    def _conclude_without_clean(self) -> None:
        """Something else exceeds the bound until clipping does."""
        clean_db, least = self._known.clean_db, min(self._known.levels, key=lambda level: level.distortion)
        if clean_db is not None:
            self.outcome = NeverReached(to_ratio(clean_db))
        elif self._known.is_same_at_every_level:
            self.outcome = self._same_at_every_level()
        else:
            self.outcome = NeverClean(least.level_v, least.distortion)

    def _is_between(self, low_db: float, over: TriedLevel) -> bool:
        """Whether the generator has a level between the two."""
        return self.settable.is_between(to_ratio(low_db), over.level_v)

    @property
    def _is_clean_below_over(self) -> bool:
        return self._known.unclipped_db is not None and self._known.clean_db == self._known.unclipped_db

    @property
    def _first_was_over(self) -> bool:
        """Whether distortion fell from above the bound to within it as the level fell: the start was clipping."""
        first = self._tried_levels[0] if self._tried_levels else None
        is_at_start = first is not None and first.level_db <= self._start_db + _ROUNDING
        return first is not None and is_at_start and self._known.says(first) == "over"

    # Whether what exceeds the bound is clipping

    @property
    def _must_confirm(self) -> bool:
        return not self._known.is_confirmed and self._confirming_db() is not None

    def _confirming_db(self) -> float | None:
        """A level at which clipping would show beyond doubt; None where none is within reach."""
        highest_db = self._known.over[-1].level_db
        is_far = self._known.is_far_below_plate(highest_db)
        step_db = (_CONFIRM_STEP_DB if is_far else _CAREFUL_STEP_DB) * 2.0**self._confirm_steps
        level_db = min(highest_db + step_db, self._farthest_db())
        is_farther = level_db >= highest_db + _CAREFUL_STEP_DB / 2.0
        return level_db if is_farther and self._confirm_steps < _MOST_CONFIRMING else None

    # Where to go

    def _farthest_db(self) -> float:
        """No proposal goes beyond this: the step above the highest level at which clipping has not set in."""
        known = self._known
        if not known.levels and self._given_clean_db is None:
            return self._highest_db
        onset_db = known.onset_db(known.over[-1]) if known.over else None
        unclipped = [each_db for each_db in (known.unclipped_db, onset_db) if each_db is not None]
        return min(max(unclipped, default=self._start_db) + self.step_db, self._highest_db)

    def _next_db(self) -> float:
        known = self._known
        if not known.levels and self._given_clean_db is None:
            return self._start_db
        if self._is_alone_and_over and not known.levels[0].is_bound:
            return self._start_db - _PROBE_DOWN_DB  # where clipping would cease
        if known.over:
            return self._next_with_over_db()
        return self._next_upward_db(self._unclipped_db)

    @property
    def _is_alone_and_over(self) -> bool:
        """Whether the start is all that is known, and exceeds the bound."""
        return self._given_clean_db is None and len(self._known.levels) == len(self._known.over) == 1

    @property
    def _unclipped_db(self) -> float:
        return self._start_db if self._known.unclipped_db is None else self._known.unclipped_db

    def _next_with_over_db(self) -> float:
        if self._is_alone_and_over:  # its record says itself that noise rules it
            return self._unclipped_db + self.step_db
        over, unclipped_db = self._known.over[0], self._unclipped_db
        if not self._known.is_confirmed and (confirming_db := self._confirming_db()) is not None:
            is_narrow = over.level_db - unclipped_db <= self.resolution_db + _ROUNDING
            if is_narrow or self._known.is_far_below_plate(over.level_db) or over.level_db <= unclipped_db:
                self._confirm_steps += 1
                return confirming_db
        if not self._is_clean_below_over:
            return (unclipped_db + over.level_db) / 2.0
        return self._next_between_db(unclipped_db, over.level_db)

    def _next_upward_db(self, unclipped_db: float) -> float:
        farthest_db = unclipped_db + self.step_db
        if self._known.telling:
            crossing = self._predict(unclipped_db, farthest_db + self.step_db)
            if crossing.upper_db < farthest_db:
                foretold_db = crossing.best_db + _AIM * self.resolution_db
                return min(max(foretold_db, unclipped_db + self._careful_step_db()), farthest_db)
        if self._expected_db is not None and unclipped_db < self._expected_db - _ROUNDING < farthest_db:
            return self._expected_db
        if self._is_near(unclipped_db):
            factor = self._doubled() if self._is_clean_below_over else 1.0
            return min(unclipped_db + _CAREFUL_STEP_DB * factor, farthest_db)
        return farthest_db

    def _predict(self, lowest_db: float, highest_db: float) -> Crossing:
        points = [level.point for level in self._known.telling]
        return predict(points, self.bound, lowest_db, highest_db, self._noise_v())

    def _noise_v(self) -> float:
        """Noise in V beside the level: at most what any low level showed in all; 0 as long as none was tried."""
        levels = self._known.levels
        low = [level for level in levels if level.level_db < levels[-1].level_db - _FAR_BELOW_DB]
        return min((level.distortion * level.level_v for level in low), default=0.0)

    def _is_near(self, unclipped_db: float) -> bool:
        """Whether the level is believed near clipping: it was given as clean, or the expected level is reached."""
        if self._given_clean_db is not None:
            return True
        return self._expected_db is not None and unclipped_db >= self._expected_db - _ROUNDING

    def _careful_step_db(self) -> float:
        """The least step on a predicted crossing; doubled each time so that no wrong prediction makes it creep."""
        return 0.9 * self.resolution_db * self._doubled()

    def _doubled(self) -> float:
        factor = 2.0**self._careful_steps
        self._careful_steps += 1
        return factor

    def _next_between_db(self, clean_db: float, over_db: float) -> float:
        if self._is_slow():
            return (clean_db + over_db) / 2.0
        crossing = self._predict(clean_db, over_db)
        if over_db - clean_db <= 2.0 * self.resolution_db:  # then a level in the middle part closes it either way
            return min(max(crossing.best_db, over_db - self.resolution_db), clean_db + self.resolution_db)
        if crossing.spread_db > _NARROW * self.resolution_db:
            return crossing.best_db
        return self._beside(crossing.best_db, clean_db, over_db)

    def _is_slow(self) -> bool:
        """Whether the last exposures have not even halved the bracket: no law fits, so halve it outright."""
        widths_db = self._widths_db
        return len(widths_db) > _PATIENCE and widths_db[-1] > widths_db[-1 - _PATIENCE] / 2.0

    def _beside(self, foretold_db: float, clean_db: float, over_db: float) -> float:
        """A level just beside the predicted crossing, on the side where a right prediction closes the bracket."""
        aim_db = _AIM * self.resolution_db
        reach_db = (1.0 - _AIM) * self.resolution_db
        if foretold_db - clean_db <= reach_db:
            return min(foretold_db + aim_db, clean_db + self.resolution_db)
        if over_db - foretold_db <= reach_db:
            return max(foretold_db - aim_db, over_db - self.resolution_db)
        return foretold_db - aim_db


def _refuse_nonsense(bound: float, start_v: float, highest_v: float, step_db: float, resolution_db: float) -> None:
    if not 0.0 < bound < 1.0:
        raise MeasurementError(f"a distortion bound lies between 0 and 1 (100 %), not at {bound:g}")
    if not 0.0 < start_v <= highest_v < math.inf:
        raise MeasurementError(f"a search from {start_v:g} V to {highest_v:g} V does not rise")
    if not 0.0 < resolution_db <= step_db < math.inf:
        raise MeasurementError(f"steps of {step_db:g} dB cannot give a resolution of {resolution_db:g} dB")
