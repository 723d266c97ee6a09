"""The filters in front of an output stage, and all else that is linear about a channel: a steady tone, and transients.

A channel's filters together are one transfer function H(s) = d + sum of r/(s - p) over their poles. A steady sine is
multiplied by H(jω). After a change of tone each pole rings on as exp(p·t) from what it held, which `Ringing` follows.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchctl.documents.amplifier_file.filters import CrossoverFilter
from benchctl.simulator.amplifier.sections import Section, butterworth
from benchctl.simulator.wave import Wave

Samples = NDArray[np.float64]


class Phasor(NamedTuple):
    """A complex tone, amplitude·exp(jω(t - origin)), or a sum of such ones; the voltage is its imaginary part."""

    amplitude_v: float
    frequency_hz: float
    origin_s: float
    wave: Wave | None = None
    """what sounds instead of a sine"""

    def held(self, poles: NDArray[np.complex128], time_s: float) -> NDArray[np.complex128]:
        """What each pole holds at an instant, once the tone has sounded for long."""
        omega = 2 * math.pi * self.frequency_hz
        turned = omega * (time_s - self.origin_s)
        if self.wave is None:
            return np.asarray(self.amplitude_v * cmath.exp(1j * turned) / (1j * omega - poles), dtype=np.complex128)
        phasors = self.amplitude_v * self.wave.phasors * np.exp(1j * turned * self.wave.multiples)
        return np.asarray(phasors @ (1 / (1j * omega * self.wave.multiples[:, None] - poles)), dtype=np.complex128)


@dataclass(frozen=True, eq=False)
class Filter:
    """All filters of one channel.

    Args:
        poles: of the transfer function, all distinct, in rad/s.
        residues: one for each pole.
        direct: what infinite frequency gets: nothing behind any low-pass.
    """

    poles: NDArray[np.complex128]
    residues: NDArray[np.complex128]
    direct: float

    def response(self, frequency_hz: float) -> complex:
        """H(jω): output over input of a steady sine."""
        omega = 2j * math.pi * frequency_hz
        return complex(self.direct + np.sum(self.residues / (omega - self.poles)))

    def responses(self, frequencies_hz: Samples) -> NDArray[np.complex128]:
        """The same at many frequencies."""
        omegas = 2j * math.pi * frequencies_hz
        return np.asarray(self.direct + (1 / (omegas[:, None] - self.poles)) @ self.residues, dtype=np.complex128)


class Ringing:
    """What is left of earlier tones in a filter; nothing at first."""

    def __init__(self, band: Filter) -> None:
        self._band = band
        self._left = np.zeros_like(band.poles)
        self._since_s = 0.0

    def follow(self, band: Filter, time_s: float) -> None:
        """The filter has become another one, because its load has changed: poles that move a little go on ringing."""
        if band is self._band:
            return
        kept = len(band.poles) == len(self._band.poles)
        self._left = (
            self._left * np.exp(self._band.poles * (time_s - self._since_s)) if kept else np.zeros_like(band.poles)
        )
        self._band, self._since_s = band, time_s

    def change(self, old: Phasor, new: Phasor, time_s: float) -> None:
        """Change the tone at `time_s`. The poles keep what they held, and ring from there."""
        self._left = self._left * np.exp(self._band.poles * (time_s - self._since_s))
        self._left = self._left + old.held(self._band.poles, time_s) - new.held(self._band.poles, time_s)
        self._since_s = time_s

    def output_v(self, times_s: Samples) -> Samples:
        """To be added to the steady tone; times not before the last change."""
        if not self._left.any():
            return np.zeros_like(times_s)
        since_s = times_s - self._since_s
        modes = np.exp(np.multiply.outer(self._band.poles, since_s))
        return np.asarray(np.imag((self._band.residues * self._left) @ modes), dtype=np.float64)


def filter_of(filters: Iterable[CrossoverFilter], channel: str, others: Iterable[Section] = ()) -> Filter | None:
    """The filters of one channel together with other linear things, or None for a channel that has none.

    Raises:
        ValueError: two of them share a pole, so that no partial fractions exist.
    """
    own = [butterworth(each) for each in filters if each.channels is None or channel in each.channels]
    sections = (*own, *others)
    if not sections:
        return None
    poles = np.concatenate([each.poles for each in sections])
    apart = poles[:, None] - poles[None, :]
    np.fill_diagonal(apart, 1.0)
    if not apart.all():
        raise ValueError(f"two filters of channel {channel} have the same corner and slope")
    numerators = np.prod([each.numerator(poles) for each in sections], axis=0)
    return Filter(poles, numerators / np.prod(apart, axis=1), math.prod(each.direct for each in sections))
