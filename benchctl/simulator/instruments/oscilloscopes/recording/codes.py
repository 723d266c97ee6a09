"""How codes are sent: bytes or words, signed or from zero, either byte first, and their scale.

Codes are not shifted to fill a word: a 12-bit converter sends 0 to 4095 in words from zero, -2048 to 2047 in signed
ones. In bytes only the upper eight bits are sent, so the step is larger.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class CodeFormat:
    """One way of sending codes."""

    width: int = 1
    """bytes for a sample, 1 or 2"""
    signed: bool = False
    little_end_first: bool = False
    text: bool = False
    """numbers in volts, separated by commas"""


@dataclass(frozen=True)
class Scaling:
    """volts = (sent code - zero_code)·step_v + centre_v."""

    step_v: float
    zero_code: int
    centre_v: float


def scaling(form: CodeFormat, bits: int, step_v: float, centre_v: float) -> Scaling:
    """The scale of codes as `form` sends them."""
    dropped = _dropped_bits(form, bits)
    zero = 0 if form.signed else 2 ** (bits - dropped - 1)
    return Scaling(step_v * 2**dropped, zero, centre_v)


def encode(codes: NDArray[np.int32], form: CodeFormat, bits: int, step_v: float, centre_v: float) -> bytes | str:
    """The data of a block, or text."""
    scale = scaling(form, bits, step_v, centre_v)
    sent = (codes >> _dropped_bits(form, bits)) + scale.zero_code
    if form.text:
        volts = (sent - scale.zero_code) * scale.step_v + scale.centre_v
        return ",".join(f"{value:.6E}" for value in volts.tolist())
    kind = ("i" if form.signed else "u") + str(form.width)
    order = "<" if form.little_end_first else ">"
    return sent.astype(order + kind).tobytes()


def _dropped_bits(form: CodeFormat, bits: int) -> int:
    return 0 if form.text else max(bits - 8 * form.width, 0)
