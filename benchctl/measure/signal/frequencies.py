"""The frequencies of a stepped-sine sweep: the preferred ones of ISO 266, or so many an octave."""

from __future__ import annotations

import math

from benchctl.errors import MeasurementError

OCTAVE_RATIO = 10.0**0.3  # G of IEC 61260-1: the octave by powers of ten, so that 1 kHz and 10 kHz are both exact
REFERENCE_HZ = 1000.0

# ISO 266: the R10 series of preferred numbers over one decade, and each third of them for octaves.
_R10 = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)
_ROUNDING = 1e-9
_END_SLACK = 0.005  # "from 20 Hz" means the frequency whose exact value is 19.95 Hz


def iso_266_hz(lowest_hz: float, highest_hz: float, per_octave: int = 3) -> tuple[float, ...]:
    """The nominal frequencies of ISO 266 within a range, ends included: third-octaves (3), or octaves about 1 kHz (1).

    Raises:
        MeasurementError: the range does not rise, or `per_octave` is neither 1 nor 3.
    """
    if per_octave not in (1, 3):
        raise MeasurementError(f"ISO 266 names one or three frequencies an octave here, not {per_octave}")
    numbers = _numbers_within(lowest_hz, highest_hz, 10, 10.0, slack=0.03)
    step = 3 // per_octave
    named = (_nominal_hz(number) for number in numbers if (number - 30) % step == 0)
    return tuple(f for f in named if lowest_hz * (1 - _ROUNDING) <= f <= highest_hz * (1 + _ROUNDING))


def per_octave_hz(lowest_hz: float, highest_hz: float, per_octave: int) -> tuple[float, ...]:
    """Exact frequencies 1 kHz * G^(x/n), whole x, within a range: n an octave, 1 kHz one of them.

    The ends count if they are within half a per cent, so that 20 Hz takes in 19.95 Hz, the exact value behind it.

    Raises:
        MeasurementError: the range does not rise, or n is below one.
    """
    if per_octave < 1:
        raise MeasurementError(f"{per_octave} frequencies an octave are none")
    numbers = _numbers_within(
        lowest_hz / REFERENCE_HZ, highest_hz / REFERENCE_HZ, per_octave, OCTAVE_RATIO, slack=_END_SLACK
    )
    return tuple(REFERENCE_HZ * OCTAVE_RATIO ** (number / per_octave) for number in numbers)


def _numbers_within(lowest: float, highest: float, per_ratio: int, ratio: float, slack: float) -> range:
    """The whole numbers x with lowest <= ratio^(x / per_ratio) <= highest, ends taken with some slack."""
    if not 0.0 < lowest <= highest < math.inf:
        raise MeasurementError("a sweep needs a range of frequencies that rises from above zero")
    first = math.ceil(per_ratio * math.log(lowest * (1.0 - slack)) / math.log(ratio))
    last = math.floor(per_ratio * math.log(highest * (1.0 + slack)) / math.log(ratio))
    return range(first, last + 1)


def _nominal_hz(number: int) -> float:
    """The nominal frequency of the exact one 10^(number/10) Hz."""
    decade, place = divmod(number, 10)
    return float(_R10[place] * 10.0**decade)
