"""Codes that cannot be what the converter gave, and what they probably are: a record that is misread hides dc.

A converter of few bits may fill a word from below, in steps of 1, or from above, in larger steps; the scale and the
range that is set tell which of the two is to be expected.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from benchctl.measure.signal.record import Codes

_WORD = 2**16
# Some converters reach a little beyond the screen.
_BEYOND_SCREEN = 1.5
# In the wrong order each step of a quiet record is 256 times too large; an honest record is rougher in the other order.
_ROUGHER = 16.0

BYTE_ORDER = "its bytes probably come in the wrong order"
SCALE = "the scale that it tells is probably not that of its codes"


def misreading(codes: Codes, swapped: Codes | None, limits: tuple[int, int], bits: int) -> str:
    """What is probably wrong with codes that do not fit their range, or nothing.

    Args:
        codes: as they were read; of a long record, pieces that are spread over it.
        swapped: the same samples, read in the other order of bytes; None where a sample is one byte.
        limits: the lowest and the highest code on the screen.
        bits: those of the converter, as the bench file has them.
    """
    span = limits[1] - limits[0]
    if swapped is None:
        return ""
    if span > _BEYOND_SCREEN * _WORD:
        return f"a word of two bytes reaches {_WORD / span:.2g} of its range at most; {SCALE}"
    inside = is_inside(codes, *limits)
    if is_inside(swapped, *limits) and (not inside or _is_better(swapped, codes, _step_to_expect(span, bits))):
        return f"its codes go from {codes.min()} to {codes.max()}, in steps that no converter has; {BYTE_ORDER}"
    return ""


def is_inside(codes: Codes, low_code: int, high_code: int) -> bool:
    """Whether the codes lie on the screen, or no farther beside it than half of it."""
    room = (high_code - low_code) / 2
    return bool(codes.min() >= low_code - room and codes.max() <= high_code + room)


def _step_to_expect(span: int, bits: int) -> int:
    """The step of the codes, a power of two: 1 where the converter fills a word from below."""
    return int(2 ** max(np.floor(np.log2(span / 2**bits * 1.01)), 0))


def _is_better(swapped: Codes, codes: Codes, step: int) -> bool:
    """Whether the codes make sense in the other order of bytes alone."""
    differences, of_swapped = _differences(codes), _differences(swapped)
    is_rougher = _roughness(differences) > _ROUGHER * _roughness(of_swapped) > 0.0
    return step <= _step_of(of_swapped) and (is_rougher or _step_of(differences) < step)


def _differences(codes: Codes) -> NDArray[np.int64]:
    """From one sample to the next."""
    return np.asarray(np.diff(codes.astype(np.int64)), dtype=np.int64)


def _step_of(differences: NDArray[np.int64]) -> int:
    """The largest power of two that divides all differences; that of a word where there are none."""
    common = int(np.gcd.reduce(differences)) if differences.size else 0
    return common & -common if common else _WORD


def _roughness(differences: NDArray[np.int64]) -> float:
    """On average."""
    return float(np.mean(np.abs(differences))) if differences.size else 0.0
