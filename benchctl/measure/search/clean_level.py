"""The search for the highest level at which distortion keeps a bound, with few exposures to full power.

The search holds no instrument. It proposes a level, is told the distortion there, and proposes the next:

    search = CleanLevelSearch(bound=0.01, start_level_v=0.01, highest_level_v=2.0)
    while (level_v := search.propose()) is not None:
        search.answer(level_v, distortion_at(level_v))
    match search.outcome: ...

It climbs from below and never proposes more than `step_db` above the highest level at which the amplifier is known
not to clip. That is a level with distortion within the bound, or one where distortion is above the bound but falls
as the level rises: that is noise, not clipping.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from benchctl.errors import MeasurementError
from benchctl.measure.search.crossing import Crossing, predict
from benchctl.measure.search.settable import ANY_LEVEL, SettableLevels
from benchctl.measure.search.tried_level import Says, TriedLevel, to_db

RESOLUTION_DB = 0.05
_CAREFUL_STEP_DB = 1.0  # the first step onward from a level believed to be near clipping; doubled each time
_PROBE_DOWN_DB = 3.0  # noise rises by as much, clipping falls: far enough apart to tell
_AIM = 0.4  # of the resolution: how far beside the predicted crossing to expose, so that two exposures enclose it
_FAR_BELOW_DB = 12.0  # from there noise falls to a quarter on the way up: whatever else it was, it does not count
_PATIENCE = 4  # exposures that may pass without halving the bracket before it is halved outright
_NARROW = 1.3  # of the resolution: a prediction this sharp is worth aiming beside
_ROUNDING = 1e-9


@dataclass(frozen=True)
class Found:
    """The bound is crossed within the resolution above `level_v`, the highest level known clean.

    `distortion` is the ratio measured at `level_v` (None if that level was given as clean and never exposed).
    """

    level_v: float
    distortion: float | None


@dataclass(frozen=True)
class NeverReached:
    """The bound was still kept at the highest level allowed."""

    level_v: float


@dataclass(frozen=True)
class AlreadyPassed:
    """The amplifier clips already at the start: `level_v` is the lowest level at which the bound is passed."""

    level_v: float


Outcome = Found | NeverReached | AlreadyPassed


class CleanLevelSearch:
    """Finds the highest level whose distortion is at most `bound`, to `resolution_db`.

    Levels are volts RMS, `bound` is a ratio. `start_is_clean` says that the start level needs no exposure of its own.
    `expected_level_v` is a guess at the result (from gain and rail, say): it chooses where to land, no more.
    `settable` are the levels that it may propose: between two neighbours of a coarse generator the search is over.
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
        self._settable = settable
        self._start_db = to_db(start_level_v)
        self._highest_db = to_db(max(settable.at_most(highest_level_v), start_level_v))
        self._given_clean_db = self._start_db if start_is_clean else None
        self._expected_db = None if expected_level_v is None else to_db(expected_level_v)
        self._tried_levels: list[TriedLevel] = []
        self._careful_steps = 0
        self._widths_db: list[float] = []
        self._pending_v: float | None = None
        self._conclude()

    @property
    def tried_levels(self) -> Sequence[TriedLevel]:
        """Every exposure so far, in the order in which they were answered."""
        return tuple(self._tried_levels)

    def propose(self) -> float | None:
        """The next level to try in V RMS, or None when the search is over. The same level until it is answered."""
        if self.outcome is not None:
            return None
        if self._pending_v is None:
            level_v = 10.0 ** (min(self._next_db(), self._highest_db) / 20.0)
            self._pending_v = self._settable.near(level_v, [e.level_v for e in self._tried_levels], self._farthest_v())
        return self._pending_v

    def _farthest_v(self) -> float:
        """No proposal goes beyond this."""
        first = not self._tried_levels and self._given_clean_db is None
        farthest_db = self._highest_db if first else min(self._unclipped_db + self.step_db, self._highest_db)
        return float(10.0 ** (farthest_db / 20.0))

    def answer(self, level_v: float, distortion: float, is_bound: bool = False) -> None:
        """Tell the distortion (a ratio) measured at a level; `is_bound` if it is only known to be at most this much.

        Raises MeasurementError for a distortion that is not a number, and when noise hides the bound at every level.
        """
        if not (math.isfinite(distortion) and distortion >= 0.0 and math.isfinite(level_v) and level_v > 0.0):
            raise MeasurementError(f"a distortion of {distortion} at {level_v} V cannot be judged")
        self._pending_v = None
        says = self._what_it_says(level_v, distortion, is_bound)
        self._tried_levels.append(TriedLevel(level_v, distortion, is_bound, says))
        self._conclude()

    # What an exposure says

    def _what_it_says(self, level_v: float, distortion: float, is_bound: bool) -> Says:
        if distortion <= self.bound:
            return "clean"
        if self._clean_db is not None:
            return "over"
        if not self._tried_levels:
            return "noise"  # for now: the next exposure confirms or refutes it
        if min(self._tried_levels, key=lambda e: abs(e.level_v - level_v)).is_noise_beside(level_v, distortion):
            return "noise"
        if is_bound:
            raise MeasurementError(
                f"noise is higher than the bound: at {level_v:.4g} V the distortion can only be said to be at most "
                f"{distortion:.3g}, and the bound is {self.bound:.3g}"
            )
        return "over"

    def _conclude(self) -> None:
        clean_db, over = self._clean_db, self._lowest_over
        if over is not None:
            self._conclude_with_over(clean_db, over)
        elif clean_db is None:
            self._refuse_noise_to_the_top()
        elif self._first_was_over:
            self.outcome = AlreadyPassed(self._tried_levels[0].level_v)
        elif clean_db >= self._highest_db - _ROUNDING:
            self.outcome = NeverReached(10.0 ** (clean_db / 20.0))

    def _refuse_noise_to_the_top(self) -> None:
        is_settled = len(self._tried_levels) > 1 or any(e.is_bound for e in self._tried_levels)
        if is_settled and self._unclipped_db >= self._highest_db - _ROUNDING:
            raise MeasurementError(
                f"noise alone is above the bound of {self.bound:.3g} up to the highest level allowed"
            )

    def _conclude_with_over(self, clean_db: float | None, over: TriedLevel) -> None:
        if clean_db is None:
            self.outcome = AlreadyPassed(min(e.level_v for e in self._tried_levels))
            return
        width_db = over.level_db - clean_db
        self._widths_db.append(width_db)
        clean_v = 10.0 ** (clean_db / 20.0)
        if width_db <= self.resolution_db + _ROUNDING or not self._settable.is_between(clean_v, over.level_v):
            highest = self._clean[-1] if self._clean else None
            level_v = highest.level_v if highest else clean_v
            self.outcome = Found(level_v, highest.distortion if highest else None)

    # What is known

    @property
    def _clean(self) -> list[TriedLevel]:
        return sorted((e for e in self._tried_levels if e.says == "clean"), key=lambda e: e.level_v)

    @property
    def _clean_db(self) -> float | None:
        """The highest level known to keep the bound."""
        clean = self._clean
        return clean[-1].level_db if clean else self._given_clean_db

    @property
    def _over(self) -> list[TriedLevel]:
        return sorted((e for e in self._tried_levels if e.says == "over"), key=lambda e: e.level_v)

    @property
    def _lowest_over(self) -> TriedLevel | None:
        over = self._over
        return over[0] if over else None

    @property
    def _unclipped_db(self) -> float:
        """The highest level known not to clip: clean, or above the bound by noise."""
        if self._clean_db is not None:
            return self._clean_db
        return max((e.level_db for e in self._tried_levels if e.says == "noise"), default=self._start_db)

    @property
    def _first_was_over(self) -> bool:
        """Whether distortion fell from above the bound to within it as the level fell: the start was clipping."""
        first = self._tried_levels[0] if self._tried_levels else None
        return first is not None and first.says == "noise" and any(e.level_v < first.level_v for e in self._clean)

    # Where to go

    def _next_db(self) -> float:
        if not self._tried_levels and self._given_clean_db is None:
            return self._start_db
        if self._clean_db is None:
            return self._next_in_noise_db()
        if self._over:
            return self._next_between_db(self._clean_db)
        return self._next_upward_db(self._clean_db)

    def _next_in_noise_db(self) -> float:
        """Up if the record itself says that noise rules it; otherwise down once, where clipping would cease."""
        only_one = len(self._tried_levels) == 1
        if only_one and not self._tried_levels[0].is_bound:
            return self._start_db - _PROBE_DOWN_DB
        return self._unclipped_db + self.step_db

    def _next_upward_db(self, clean_db: float) -> float:
        farthest_db = clean_db + self.step_db
        crossing = self._predict(clean_db, farthest_db + self.step_db)
        if crossing.upper_db < farthest_db:
            foretold_db = crossing.best_db + _AIM * self.resolution_db
            return min(max(foretold_db, clean_db + self._careful_step_db()), farthest_db)
        if self._expected_db is not None and clean_db < self._expected_db - _ROUNDING < farthest_db:
            return self._expected_db
        if self._is_near(clean_db):
            return min(clean_db + _CAREFUL_STEP_DB * self._doubled(), farthest_db)
        return farthest_db

    def _predict(self, lowest_db: float, highest_db: float) -> Crossing:
        telling = sorted((e for e in self._tried_levels if e.says != "noise"), key=lambda e: e.level_v)
        return predict([e.point for e in telling], self.bound, lowest_db, highest_db, self._noise_v())

    def _noise_v(self) -> float:
        """Noise in V beside the level: at most what any low level showed in all; 0 as long as none was tried."""
        highest_db = max((e.level_db for e in self._tried_levels), default=0.0)
        low = [e for e in self._tried_levels if e.level_db < highest_db - _FAR_BELOW_DB]
        return min((e.distortion * e.level_v for e in low), default=0.0)

    def _is_near(self, clean_db: float) -> bool:
        """Whether the level is believed near clipping: it was given as clean, or the expected level is reached."""
        if self._given_clean_db is not None:
            return True
        return self._expected_db is not None and clean_db >= self._expected_db - _ROUNDING

    def _careful_step_db(self) -> float:
        """The least step on a predicted crossing; doubled each time so that no wrong prediction makes it creep."""
        return 0.9 * self.resolution_db * self._doubled()

    def _doubled(self) -> float:
        factor = 2.0**self._careful_steps
        self._careful_steps += 1
        return factor

    def _next_between_db(self, clean_db: float) -> float:
        over_db = self._over[0].level_db
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
