"""What all levels tried so far say together: which are clean, which clip, and which exceed the bound by something else.

Clipping never falls: what it does at one level it does more at every higher one. So every level below one that does not
clip does not clip either, whatever its distortion.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from benchctl.measure.search.tried_level import Says, TriedLevel, to_db

# Clipping so little below the level of rated power is what the plate lets one expect.
_BELOW_PLATE_DB = 3.0
# A hundredth of rated power.
_QUIET_DB = 20.0
# Far below the plate a gain that is lower by less may be that of crossover distortion where class A ends: that takes
# about twice its distortion from the gain (a square wave's fundamental beside its harmonics, closed form), and 1.5 dB
# is a distortion of 8 %.
_SURE_COMPRESSION_DB = 1.5
# Distortion that differs by less over at least a factor of two in level does not depend on the level: noise beside low
# levels makes as much. Clipping rises at least with the square of the level, 12 dB.
_SAME_DB = 2.0
_SPAN_DB = 6.0


class Knowledge:
    """Levels that were tried, in rising order.

    Args:
        tried: in any order.
        bound: the distortion that is held to, a ratio.
        given_clean_db: a level known to be clean without having been tried.
        expected_db: the level of rated power, if it is known.
    """

    def __init__(
        self,
        tried: Iterable[TriedLevel],
        bound: float,
        given_clean_db: float | None = None,
        expected_db: float | None = None,
    ) -> None:
        all_tried = tuple(tried)
        self._bound = bound
        self.levels: Sequence[TriedLevel] = self._with_compression(sorted(all_tried, key=lambda level: level.level_v))
        self.given_clean_db = given_clean_db
        self._expected_db = expected_db
        self.unclipped_db = self._highest_unclipped_db()
        """the highest level known not to clip; None where there is none"""

    def _with_compression(self, levels: Sequence[TriedLevel]) -> Sequence[TriedLevel]:
        """Each beside those below it, from the highest one on whose distortion falls: up to there a lower gain is
        not that of clipping."""
        falling = [
            number
            for number, level in enumerate(levels)
            if level.distortion > self._bound and any(level.falls_to(higher) for higher in levels[number + 1 :])
        ]
        start = max(falling, default=0)
        return [level.beside(levels[start if number > start else 0 :]) for number, level in enumerate(levels)]

    def _highest_unclipped_db(self) -> float | None:
        known = [level.level_db for number, level in enumerate(self.levels) if not self._may_clip(number)]
        if self.given_clean_db is not None:
            known.append(self.given_clean_db)
        return max(known, default=None)

    def _may_clip(self, number: int) -> bool:
        """By itself and beside the others. A higher level that is clean counts more than any other sign."""
        level = self.levels[number]
        if level.distortion <= self._bound or (level.is_bound and self.is_quiet(level.level_db)):
            return False
        above = self.levels[number + 1 :]
        if any(level.falls_to(higher) for higher in above):
            return False
        if level.clearly_clips:
            return True
        if number > 0 and not level.may_clip and self.levels[number - 1].falls_to(level):
            return False
        return not any(higher.distortion <= self._bound for higher in above)

    def says(self, level: TriedLevel) -> Says:
        """What a level that was tried says."""
        if level.distortion <= self._bound:
            return "clean"
        is_below = self.unclipped_db is not None and level.level_db <= self.unclipped_db
        return "other" if is_below else "over"

    @property
    def clean(self) -> TriedLevel | None:
        """The highest level that was tried and keeps the bound."""
        return next((level for level in reversed(self.levels) if level.distortion <= self._bound), None)

    @property
    def clean_db(self) -> float | None:
        """The highest level known to keep the bound."""
        clean = self.clean
        return self.given_clean_db if clean is None else clean.level_db

    @property
    def over(self) -> Sequence[TriedLevel]:
        """Those above the bound that are taken for clipping."""
        return [level for level in self.levels if self.says(level) == "over"]

    @property
    def telling(self) -> Sequence[TriedLevel]:
        """Those from which the onset of clipping can be foretold."""
        return [level for level in self.levels if self.says(level) != "other"]

    @property
    def is_confirmed(self) -> bool:
        """Whether those taken for clipping are clipping.

        Where nobody looked at the gain and nothing is expected, there is nothing to tell by, and they count as such.
        """
        over = self.over
        if self.given_clean_db is not None or any(self.surely_clips(level) or level.is_gross for level in over):
            return True
        if self._expected_db is None:
            return all(level.compression_db is None for level in over)
        return not self.is_far_below_plate(over[0].level_db)

    def surely_clips(self, level: TriedLevel) -> bool:
        """Whether the gain has given way; far below the plate by more than crossover distortion takes."""
        is_sure = level.compression_db is not None and level.compression_db >= _SURE_COMPRESSION_DB
        return level.clearly_clips and (is_sure or not self.is_far_below_plate(level.level_db))

    def onset_db(self, level: TriedLevel) -> float | None:
        """Where clipping would set in at the lowest, where it is not sure that this is clipping; or else None."""
        return None if self.surely_clips(level) else level.onset_db

    @property
    def is_same_at_every_level(self) -> bool:
        """Whether what exceeds the bound is about the same over a wide stretch of levels, and takes nothing from the
        gain, and no level is clean: so a filter changes a burst, and clipping no wave."""
        over = [level for level in self.over if not level.is_bound]
        if self.clean_db is not None or not over or over[-1].level_db - over[0].level_db < _SPAN_DB:
            return False
        seen = [level.distortion for level in over]
        return over[-1].keeps_gain and to_db(max(seen) / min(seen)) <= _SAME_DB

    def is_quiet(self, level_db: float) -> bool:
        """Whether a level gives a hundredth of rated power or less, where a record of noise alone says nothing."""
        return self._expected_db is not None and level_db <= self._expected_db - _QUIET_DB

    def is_far_below_plate(self, level_db: float) -> bool:
        """Whether clipping at this level would surprise."""
        return self._expected_db is not None and level_db < self._expected_db - _BELOW_PLATE_DB
