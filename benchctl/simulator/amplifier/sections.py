"""The linear things that a signal passes one after the other, each as poles, a numerator and what very high frequencies
get: H(s) = numerator(s) / product of (s - pole).
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchctl.documents.amplifier_file.filters import CrossoverFilter
from benchctl.documents.amplifier_file.imperfections import AmplifierImperfections, OutputFilter

Complex = NDArray[np.complex128]

APART = 1e-4
"""Two equal poles have no partial fractions: critical damping is missed by so much, and the pole of an all-pass or a
coupling capacitor lies by a part of this beside its corner. No figure shows it."""


class Section(NamedTuple):
    """One of them."""

    poles: Complex
    numerator: Callable[[Complex], Complex]
    direct: float
    """H at infinite frequency"""


def butterworth(of: CrossoverFilter) -> Section:
    """Poles evenly on the left half of a circle, p = ω·exp(jπ(2k + n - 1)/2n), k = 1..n (textbook)."""
    ranks = np.arange(1, of.order + 1)
    angles = np.pi * (2 * ranks + of.order - 1) / (2 * of.order)
    omega = 2 * np.pi * of.corner_hz
    poles = np.asarray(omega * np.exp(1j * angles), dtype=np.complex128)
    if of.kind == "high-pass":
        return Section(poles, lambda at: at**of.order, 1.0)
    return Section(poles, lambda at: np.full_like(at, omega**of.order), 0.0)


def second_order(of: OutputFilter) -> Section:
    """ω²/(s² + 2ζωs + ω²) (textbook)."""
    omega = 2 * math.pi * of.corner_hz
    root = cmath.sqrt(of.damping**2 - 1)
    if abs(root) < APART:
        root = complex(APART)
    poles = np.array([omega * (-of.damping + root), omega * (-of.damping - root)])
    return Section(poles, lambda at: np.full_like(at, (poles[0] * poles[1]).real), 0.0)


def coupling(corner_hz: float) -> Section:
    """s/(s + ω): a capacitor in series."""
    omega = 2 * math.pi * corner_hz * (1 + 0.3 * APART)
    return Section(np.array([-omega], dtype=np.complex128), lambda at: at, 1.0)


def all_pass(lag_hz: float) -> Section:
    """(ω - s)/(ω + s): it lags by 2·atan(f/fc), 90 degrees at its corner (textbook)."""
    omega = 2 * math.pi * lag_hz * (1 - 0.3 * APART)
    return Section(np.array([-omega], dtype=np.complex128), lambda at: omega - at, -1.0)


def inductance(inductance_h: float, output_ohm: float, conductance_s: float) -> Section:
    """Of an output into a load G: what its resistance R leaves, 1/(1 + R·G), times ω/(s + ω) with ω = (1 + R·G)/(L·G)
    (voltage divider)."""
    omega = (1 + output_ohm * conductance_s) / (inductance_h * conductance_s)
    return Section(np.array([-omega], dtype=np.complex128), lambda at: np.full_like(at, omega), 0.0)


def with_capacitor(inductance_h: float, output_ohm: float, conductance_s: float, capacitor_f: float) -> Section:
    """The same with a capacitor beside the load, over what the resistances alone leave: (1 + R·G) over
    L·C·s² + (R·C + L·G)·s + 1 + R·G (voltage divider)."""
    ends = 1 + output_ohm * conductance_s
    omega = math.sqrt(ends / (inductance_h * capacitor_f))
    damping = (output_ohm * capacitor_f + inductance_h * conductance_s) / (2 * ends) * omega
    return second_order(OutputFilter(corner_hz=omega / (2 * math.pi), damping=damping))


INVERTER = Section(np.array([], dtype=np.complex128), lambda at: np.full_like(at, -1.0), -1.0)


def sections_of(imperfections: AmplifierImperfections, channel: str) -> Iterator[Section]:
    """What is linear about one channel."""
    if channel in imperfections.inverted:
        yield INVERTER
    if channel in imperfections.lag_hz:
        yield all_pass(imperfections.lag_hz[channel])
    if imperfections.coupling_hz is not None:
        yield coupling(imperfections.coupling_hz)
    if imperfections.output_filter is not None:
        yield second_order(imperfections.output_filter)
