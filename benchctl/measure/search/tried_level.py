"""One level tried in a search for clipping, and what its distortion says."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

from benchctl.measure.search.clipping import clipped_sine_compression_db, overdrive_db_of
from benchctl.measure.search.crossing import Point

# "clean": within the bound. "over": above it, and taken for clipping. "other": above it by something else, because
# distortion falls again at a higher level: noise, or crossover distortion.
Says = Literal["clean", "over", "other"]

# Distortion that falls by so many dB for each dB of level is not clipping; noise of constant voltage falls by one.
_FALL = 0.2
# Levels that lie nearer to each other do not say how distortion rises or falls.
_APART_DB = 0.5
# A gain that is lower by so much is no error of a range (5 %).
_CLEAR_COMPRESSION_DB = 0.4
_SLIGHT_COMPRESSION_DB = 0.1
# And so much of what a hard clipper takes; a soft one takes more.
_PART_OF_HARD = 0.7
# Of a gain that noise hides.
_LEAST_PART = 1e-3
_GROSS = 0.2


@dataclass(frozen=True)
class TriedLevel:
    """One level that was tried.

    Attributes:
        distortion: of the worst channel, as a ratio.
        is_bound: the distortion is only known to be at most so much.
        channel: the worst channel.
        gains: channel -> RMS of the fundamental at the output over the level; empty where nobody looked.
        scatter: relative standard uncertainty of the distortion by chance.
        compression_db: by how much the worst channel's gain surely lies below its highest at lower levels; None where
            no lower level was tried, or nobody looked.
    """

    level_v: float
    distortion: float
    is_bound: bool = False
    channel: str = ""
    gains: Mapping[str, float] = field(default_factory=dict)
    scatter: float = 0.0
    compression_db: float | None = None

    def beside(self, others: Iterable[TriedLevel]) -> TriedLevel:
        """The same with its compression, by the levels below it.

        What is not the tone may have added its part to a gain, so a lower gain counts without that.
        """
        below = [other for other in others if other.is_below(self) and self.channel in other.gains]
        lower = [other.gains[self.channel] * max(1.0 - other.distortion, _LEAST_PART) for other in below]
        if not lower or not self.gains.get(self.channel):
            return replace(self, compression_db=None)
        return replace(self, compression_db=to_db(max(lower) / self.gains[self.channel]))

    def is_below(self, other: TriedLevel) -> bool:
        """Whether its level is the lower one."""
        return self.level_v < other.level_v

    @property
    def level_db(self) -> float:
        """The level in dB re 1 V."""
        return to_db(self.level_v)

    @property
    def point(self) -> Point:
        """The exposure as a point of distortion against level."""
        return Point(self.level_db, self.distortion)

    @property
    def clearly_clips(self) -> bool:
        """Whether the gain has given way as that of a clipped sine does."""
        return self._gives_way_by(_CLEAR_COMPRESSION_DB)

    @property
    def may_clip(self) -> bool:
        """Whether the gain has given way as that of a clipped sine does, if only by what an error of a range may be."""
        return self._gives_way_by(_SLIGHT_COMPRESSION_DB)

    @property
    def keeps_gain(self) -> bool:
        """Whether the gain was looked at, and has not given way by more than an error of a range."""
        return self.compression_db is not None and self.compression_db < _CLEAR_COMPRESSION_DB

    def _gives_way_by(self, least_db: float) -> bool:
        hard_db = clipped_sine_compression_db(self.distortion)
        return self.compression_db is not None and self.compression_db >= max(least_db, _PART_OF_HARD * hard_db)

    @property
    def is_gross(self) -> bool:
        """Whether only clipping, or a fault as bad, makes so much, where nobody looked at the gain."""
        return self.compression_db is None and self.distortion >= _GROSS

    @property
    def onset_db(self) -> float | None:
        """Where clipping would set in at the lowest: of a hard clipper, whose gain gives way least. None where the gain
        was not looked at."""
        return None if self.compression_db is None else self.level_db - overdrive_db_of(self.distortion)

    def falls_to(self, higher: TriedLevel) -> bool:
        """Whether there is less distortion at a higher level, which clipping never does."""
        apart_db = higher.level_db - self.level_db
        return apart_db >= _APART_DB and to_db(higher.distortion / self.distortion) <= -_FALL * apart_db


def to_db(value: float) -> float:
    """20 lg of a value above zero."""
    return 20.0 * math.log10(value)


def to_ratio(db: float) -> float:
    """The value whose 20 lg this is."""
    return float(10.0 ** (db / 20.0))
