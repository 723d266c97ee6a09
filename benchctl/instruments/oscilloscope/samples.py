"""From the bytes that an oscilloscope sends to the codes of a trace, whatever the width, sign and order of a sample.

Codes are kept as they came where they are whole numbers; a word from 0 to 65535 is counted from its middle, so that it
fits. Volts (floats or text) become codes too: the steps of the converter where the volts lie on such steps, else steps
of the range that are far below any error of the instrument (half of one is 1/52000 of the range, -94 dB).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchctl.documents.driver_file.records import SAMPLE_BYTES, VOLTS
from benchctl.measure.signal.record import Codes
from benchctl.measure.signal.sample_codes import BYTE_ORDER

_MIDDLE = 2**15
_HIGHEST = 2**15 - 1
# Volts beyond the screen still have codes up to here, in halves of the range.
_REACH = 1.25
# Pieces of a long record that are looked at for signs of a misreading, and samples in each.
_PIECES = 16
_PIECE = 1024
# The step of volts is looked for in so many of them, spread over the record.
_LOOKED_AT = 8192
# A float whose bytes come in the wrong order is far smaller, where its last bits are 0.
_NO_VOLTAGE_V = 1e-20
# A 32-bit float has 24 bits: steps that differ by this part of one are the same.
_OFF_STEP = 0.02
# Instruments write numbers like 9.9E37 where a sample was beyond the range (SCPI-99 volume 1, 7.2.1.4).
_BEYOND_EVERY_RANGE = 1e30


@dataclass(frozen=True)
class Coded:
    """Codes, and what the instrument's scale becomes for them: volts = code·step_v + zero_v.

    For codes as they came, `step_v` and `zero_v` are those of the instrument's scale, moved where codes were moved.
    """

    codes: Codes
    volts_per_code: float
    volts_at_zero: float


@dataclass(frozen=True)
class Form:
    """How samples are written: their type and, of types of several bytes, which byte comes first."""

    type: str
    order: str

    @property
    def is_volts(self) -> bool:
        """Whether a sample is a voltage."""
        return self.type in VOLTS

    @property
    def bytes(self) -> int:
        """Of a sample; 0 for text."""
        return SAMPLE_BYTES.get(self.type, 0)

    @property
    def swapped(self) -> Form:
        """The same type in the other order of bytes."""
        return Form(self.type, "high_first" if self.order == "low_first" else "low_first")


def in_numbers(data: bytes, form: Form) -> NDArray[np.generic]:
    """The samples as the instrument wrote them.

    Raises:
        ValueError: the bytes are no whole number of samples, or the text holds something else.
    """
    if form.type == "text":
        return np.array([float(field) for field in data.decode("ascii").split(",")])
    if not data or len(data) % form.bytes:
        raise ValueError(f"sends {len(data)} bytes, which is not a whole number of samples of {form.bytes} bytes")
    return np.frombuffer(data, dtype=np.dtype(form.type).newbyteorder("<" if form.order == "low_first" else ">"))


def pieces_of(data: bytes, form: Form) -> bytes:
    """Pieces of a long record, spread over it; all of a short one."""
    size = _PIECE * form.bytes
    if len(data) <= _PIECES * size:
        return data
    apart = (len(data) - size) // (_PIECES - 1) // form.bytes * form.bytes
    return b"".join(data[start : start + size] for start in range(0, _PIECES * apart, apart))


def from_codes(numbers: NDArray[np.generic], volts_per_code: float, volts_at_zero: float) -> Coded:
    """Whole numbers as the codes of a trace."""
    if numbers.dtype.kind == "u" and numbers.dtype.itemsize == 2:
        moved = (numbers.astype(np.uint16, copy=False) ^ np.uint16(_MIDDLE)).view(np.int16)
        return Coded(moved, volts_per_code, volts_at_zero + _MIDDLE * volts_per_code)
    return Coded(numbers.astype(np.int16, copy=False), volts_per_code, volts_at_zero)


def from_volts(numbers: NDArray[np.generic], half_range_v: float) -> Coded:
    """Volts as codes of the range that is set.

    Raises:
        ValueError: a sample is no number, or none of them can be a voltage.
    """
    volts = numbers.astype(np.float64)
    lowest, highest = float(volts.min()), float(volts.max())
    if np.isnan(lowest) or np.isnan(highest):
        raise ValueError("sends a record that holds something else than numbers")
    if 0.0 < max(-lowest, highest) < _NO_VOLTAGE_V:
        raise ValueError(f"sends numbers such as {highest:.1g}, too small to be volts; {BYTE_ORDER}")
    if max(-lowest, highest) >= _BEYOND_EVERY_RANGE:
        return _coded(volts, _steps_of_range(half_range_v), 0.0)
    if (steps := _steps_of(volts, half_range_v)) is not None:
        coded = _coded(volts, *steps)
        off_v = np.max(np.abs(coded.codes * coded.volts_per_code + coded.volts_at_zero - volts))
        if off_v <= _OFF_STEP * coded.volts_per_code:
            return coded
    return _coded(volts, _steps_of_range(half_range_v), 0.0)


def _steps_of_range(half_range_v: float) -> float:
    return _REACH * half_range_v / _HIGHEST


def _coded(volts: NDArray[np.float64], step_v: float, zero_v: float) -> Coded:
    places = volts - zero_v
    places /= step_v
    np.rint(places, out=places)
    np.clip(places, -_MIDDLE, _HIGHEST, out=places)
    return Coded(places.astype(np.int16), step_v, zero_v)


def _steps_of(volts: NDArray[np.float64], half_range_v: float) -> tuple[float, float] | None:
    """The step of the converter and the voltage of its code nearest to 0 V, if volts seem to lie on such steps."""
    levels = np.unique(volts[:: max(volts.size // _LOOKED_AT, 1)])
    differences = np.diff(levels)
    apart = differences[differences > half_range_v / _MIDDLE]
    if not apart.size:
        return None
    span_v = float(levels[-1] - levels[0])
    # From the whole span, because the difference of two neighbours is known to few digits only.
    step_v = _whole_part(2 * half_range_v, span_v / round(span_v / float(apart.min())))
    return step_v, float(levels[0]) - round(float(levels[0]) / step_v) * step_v


def _whole_part(range_v: float, step_v: float) -> float:
    """The step as a whole part of the range, where it is one but for rounding: so it is the same in every record."""
    steps = round(range_v / step_v)
    return range_v / steps if abs(range_v / step_v - steps) < _OFF_STEP * steps / _LOOKED_AT else step_v
