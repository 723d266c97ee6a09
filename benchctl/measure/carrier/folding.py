"""A carrier near a multiple of the sample rate looks like a tone within the band: it adds to distortion.

A carrier of f at a sample rate of s is seen at the distance of f to the nearest multiple of s. It never takes from
distortion, so that of a coarse record is at most so much. It is a value where the record is fine enough, or where one
at quite another rate agrees.
"""

from __future__ import annotations

from dataclasses import dataclass

from benchctl.measure.signal.distortion import Distortion
from benchctl.quantity import render

# Carriers of class D amplifiers lie below a megahertz (common practice), so none is within a band of up to 100 kHz of
# this rate or of a multiple of it.
FINE_RATE_HZ = 1.5e6
# Two records agree where their distortions differ by no more: clipping warms and sags from one to the other.
_AGREE = 0.05
_ROUNDING = 1e-6
# Sample rates whose ratio lies nearer to a whole number than this put a carrier of many times either into the band of
# both.
_NEAR_MULTIPLE = 0.02


def is_fine(interval_s: float) -> bool:
    """Whether a record is fine enough that no carrier folds into its band."""
    return FINE_RATE_HZ * interval_s <= 1.0 + _ROUNDING


def folded_hz(frequency_hz: float, rate_hz: float) -> float:
    """Where a frequency is seen in a record of a sample rate."""
    return abs(frequency_hz - rate_hz * round(frequency_hz / rate_hz))


@dataclass(frozen=True)
class Unfolded:
    """A distortion of a class D amplifier; `doubt` says why it is at most so much, or is empty."""

    distortion: Distortion
    doubt: str = ""


def unfolded(one: Distortion, interval_s: float, check: tuple[Distortion, float] | None = None) -> Unfolded:
    """What a record says, and another of the same tone: its distortion and its interval, in s."""
    if is_fine(interval_s):
        return Unfolded(one)
    doubt = doubt_of(interval_s)
    if check is None:
        return Unfolded(one, doubt)
    other, other_s = check
    least = one if one.ratio <= other.ratio else other
    is_sure = is_fine(other_s) or (_agree(one, other) and not _is_multiple(interval_s, other_s))
    return Unfolded(other if is_fine(other_s) else least, "" if is_sure else doubt)


def doubt_of(interval_s: float) -> str:
    """Why distortion in a record of this interval is at most so much."""
    return (
        f"a record of {render(1.0 / interval_s, 'Sa/s', digits=2)} may show the carrier of a class D amplifier within "
        "the band, where it adds to distortion; an oscilloscope with more memory can tell"
    )


def _is_multiple(one_s: float, other_s: float) -> bool:
    """Whether one sample rate is a multiple of the other: then what folds to one place folds to it in both."""
    ratio = max(one_s, other_s) / min(one_s, other_s)
    return abs(ratio - round(ratio)) < _NEAR_MULTIPLE * ratio


def _agree(one: Distortion, other: Distortion) -> bool:
    """Whether two records show the same distortion, as far as their floors allow."""
    allowed = _AGREE * max(one.ratio, other.ratio) + one.floor + other.floor
    return abs(one.ratio - other.ratio) <= allowed
