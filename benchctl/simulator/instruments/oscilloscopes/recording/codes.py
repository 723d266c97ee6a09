"""How a record is sent: codes as bytes or words, signed or from zero, either byte first; volts as floats or as text.

Most instruments do not shift codes to fill a word: a 12-bit converter sends 0 to 4095 in words from zero, -2048 to 2047
in signed ones. Some fill the word from above, so that the low byte of an 8-bit converter is always 0. In bytes only the
upper eight bits are sent, so the step is larger.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

_WORD_BITS = 16


@dataclass(frozen=True)
class CodeFormat:
    """One way of sending codes."""

    width: int = 1
    """bytes for a sample, 1 or 2"""
    signed: bool = False
    little_end_first: bool = False
    volts: Literal["", "text", "floats"] = ""
    """instead of codes: numbers separated by commas, or 32-bit floats"""
    from_above: bool = False
    """whether codes fill a word from its upper end"""


@dataclass(frozen=True)
class Scaling:
    """volts = (sent code - zero_code)·step_v + centre_v."""

    step_v: float
    zero_code: int
    centre_v: float


def scaling(form: CodeFormat, bits: int, step_v: float, centre_v: float) -> Scaling:
    """The scale of codes as `form` sends them."""
    dropped, added = _dropped_bits(form, bits), _added_bits(form, bits)
    zero = 0 if form.signed else 2 ** (bits - dropped + added - 1)
    return Scaling(step_v * 2.0 ** (dropped - added), zero, centre_v)


def encode(codes: NDArray[np.int32], form: CodeFormat, bits: int, step_v: float, centre_v: float) -> bytes | str:
    """The data of a block, or text."""
    scale = scaling(form, bits, step_v, centre_v)
    sent = (codes >> _dropped_bits(form, bits) << _added_bits(form, bits)) + scale.zero_code
    order = "<" if form.little_end_first else ">"
    if not form.volts:
        return sent.astype(f"{order}{'i' if form.signed else 'u'}{form.width}").tobytes()
    volts = (sent - scale.zero_code) * scale.step_v + scale.centre_v
    if form.volts == "floats":
        return volts.astype(f"{order}f4").tobytes()
    return ",".join(f"{value:.6E}" for value in volts.tolist())


def _dropped_bits(form: CodeFormat, bits: int) -> int:
    return 0 if form.volts else max(bits - 8 * form.width, 0)


def _added_bits(form: CodeFormat, bits: int) -> int:
    return _WORD_BITS - bits if form.from_above and form.width == 2 and not form.volts else 0
