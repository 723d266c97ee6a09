"""How a search for a clean level ends."""

from __future__ import annotations

import math
from dataclasses import dataclass

from benchctl.measure.search.tried_level import TriedLevel, to_ratio

# Between two neighbours the logarithm of distortion is taken for a straight line over the level in dB; the crossing is
# off by no more than this part of their distance (tried on clippers from soft to hard).
_BEND = 0.1
# No distortion is measured better than so, relative.
_LEAST_SCATTER = 0.003


@dataclass(frozen=True)
class Found:
    """The bound is crossed between `level_v`, the highest level known clean, and `over_v`, the lowest beyond it.

    Attributes:
        distortion: the ratio at `level_v`; None if that level was given as clean and never exposed.
        crossing_v: the level at which distortion is just the bound, interpolated.
        crossing_u: its relative standard uncertainty.
        is_confirmed: clipping was told from other distortion: by the amplifier's gain, which gives way, or because the
            level is where the plate lets it be expected.
    """

    level_v: float
    distortion: float | None
    over_v: float = math.inf
    crossing_v: float = 0.0
    crossing_u: float = 0.0
    is_confirmed: bool = True


@dataclass(frozen=True)
class NeverReached:
    """The bound was still kept at the highest level allowed; or, where that is above `level_v`, what exceeds the bound
    beyond `level_v` is not clipping, and no higher level was found that keeps it."""

    level_v: float


@dataclass(frozen=True)
class AlreadyPassed:
    """The amplifier clips already at the start: `level_v` is the lowest level at which the bound is passed."""

    level_v: float


@dataclass(frozen=True)
class NeverClean:
    """Something else than clipping exceeds the bound until clipping does: least at `level_v`, by `distortion`."""

    level_v: float
    distortion: float


@dataclass(frozen=True)
class SameAtEveryLevel:
    """What exceeds the bound is about the same from `lowest_v` to `highest_v`, at the same gain: least at `level_v`, by
    `distortion`."""

    level_v: float
    distortion: float
    lowest_v: float
    highest_v: float
    channel: str = ""


Outcome = Found | NeverReached | AlreadyPassed | NeverClean | SameAtEveryLevel


def found_between(
    clean: TriedLevel | None, clean_db: float, over: TriedLevel, bound: float, *, is_confirmed: bool
) -> Found:
    """Where the bound is crossed between two neighbours; `clean` is None where the lower was never exposed."""
    width_db = over.level_db - clean_db
    if clean is None or not 0.0 < clean.distortion < over.distortion:
        crossing_db, u_db = clean_db + width_db / 2.0, width_db / math.sqrt(12.0)
    else:
        rise = math.log(over.distortion / clean.distortion)
        part = math.log(bound / clean.distortion) / rise
        crossing_db = clean_db + part * width_db
        scatter = max(clean.scatter, over.scatter, _LEAST_SCATTER)
        u_db = width_db * math.hypot(_BEND / math.sqrt(3.0), scatter / rise)
    return Found(
        level_v=clean.level_v if clean is not None else to_ratio(clean_db),
        distortion=None if clean is None else clean.distortion,
        over_v=over.level_v,
        crossing_v=to_ratio(crossing_db),
        crossing_u=u_db * math.log(10.0) / 20.0,
        is_confirmed=is_confirmed,
    )
