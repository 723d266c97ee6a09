"""The ripple that rides on a signal, such as what is left of a carrier, and moves it to and fro over several steps of a
converter while the signal itself stands still."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

LEAST = 0.25
"""steps: so much takes a flat top from one edge to the next in each of its periods. No line of rounding is as strong:
that of a sine of one step has 0.12 of it, of larger ones less (the largest value of a Bessel function of any order)."""
SHAPING_HARMONICS = 60
"""give a clipped tone tops flat to a small part of a step of eight bits"""
_ENOUGH = 1 << 14  # samples, or a cycle, tell how strong a carrier is
_TOP = 0.9  # of the peak and more
_FOLLOWED = 20  # harmonics of the tone, by which a carrier may become stronger and weaker within a cycle


def looked_at(samples: int, cycles: float) -> int:
    """How many samples at the beginning of a record are enough; it may have fewer."""
    return max(_ENOUGH, math.ceil(samples / max(cycles, 1.0)))


def ripple_on(values: NDArray[np.float64], tone: NDArray[np.float64], cycles: float, step: float) -> float:
    """The amplitude that the strongest tone above the shape of a cycle has on the tops; 0 where it is too weak to move
    them over a step, or may be rounding itself.

    A carrier is weaker there than between them, where an amplifier comes near to its rail: so it is followed along the
    cycle.

    Args:
        values: the record, shape (n,); its tone may be left out.
        tone: what tells where the tops are, shape (n,).
        cycles: of the tone in the record.
    """
    enough = looked_at(values.size, cycles)
    if values.size > enough:
        values, tone, cycles = values[:enough], tone[:enough], cycles * enough / values.size
    spectrum = np.fft.rfft(values)
    first = math.ceil((SHAPING_HARMONICS + 0.5) * cycles)
    if first >= spectrum.size:
        return 0.0
    top, beside = first + int(np.argmax(np.abs(spectrum[first:]))), math.ceil(_FOLLOWED * cycles)
    around = np.zeros(values.size, dtype=np.complex128)
    carrier = slice(max(top - beside, first), min(top + beside + 1, spectrum.size))
    around[carrier] = 2.0 * spectrum[carrier]
    envelope = np.abs(np.fft.ifft(around)[np.abs(tone) > _TOP * np.abs(tone).max()])
    amplitude = math.sqrt(float(np.mean(envelope**2)))
    return amplitude if amplitude > LEAST * step else 0.0
