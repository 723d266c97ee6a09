"""The numbers that the model works with, one value for each column."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]


@dataclass(frozen=True)
class Kind:
    """What the amplifier file says of the circuit.

    `halves` is 2 where an output is a bridge. A class AB output that is no bridge loads one rail in one half of the
    cycle and the other rail in the other half, so that both are followed; all others load both alike. `averaged`: rails
    that do not swing within a cycle are followed by its means.
    """

    switching: bool = False
    regulated: bool = False
    halves: int = 1
    averaged: bool = False

    @property
    def rails(self) -> int:
        """How many rails are followed."""
        return 1 if self.switching or self.halves == 2 or self.averaged else 2


@dataclass(frozen=True)
class Physics:
    """Shape (columns,), those of the outputs (channels, columns). Rails are lumped: each of two has twice the
    resistance and half the capacitance.

    Attributes:
        supply_v: behind the supply path.
        path_ohm: of leads and supply, up to the amplifier's terminals.
        steady_a: what small stages and converter always take.
        ratio: volts of a rail, unloaded, for a volt at the terminals.
        held_v: the rail that a regulated converter holds.
        bias_a: from rail to rail, of all outputs.
        saturation_v: what an output stage leaves of its rail.
        knee: part of the limit over which clipping sets in.
        conduction_ohm: class D, in the path of the current.
        switching_s: class D, amperes for a volt of rail, of all outputs.
        edges: class D, part of each output current that the edges of the carrier take from the rails besides.
        peak_v: of the sine that an output is asked for.
        dc_v: that an output is asked for.
        phase: of the sine at the trigger.
        path_h: inductance of leads and supply: volts by which the supply gives way while its current rises.
        give_s: how long it takes until the supply gives way by so much, and until it has recovered.
        clamp_s: by which the current is seen too late.
        third: harmonic of the sine that an output is asked for, over it.
    """

    supply_v: Samples
    path_ohm: Samples
    steady_a: Samples
    ratio: Samples
    held_v: Samples
    efficiency: Samples
    stiffness_ohm: Samples
    reservoir_f: Samples
    bleed_ohm: Samples
    bias_a: Samples
    saturation_v: Samples
    knee: Samples
    conduction_ohm: Samples
    switching_s: Samples
    edges: Samples
    output_ohm: Samples
    load_ohm: Samples
    peak_v: Samples
    dc_v: Samples
    phase: Samples
    angular_hz: Samples
    path_h: Samples = field(default_factory=lambda: np.zeros(1))
    give_s: Samples = field(default_factory=lambda: np.full(1, 1e-6))
    clamp_s: Samples = field(default_factory=lambda: np.zeros(1))
    third: Samples = field(default_factory=lambda: np.zeros(1))

    @property
    def share(self) -> Samples:
        """Volts at a load for a volt inside the output."""
        return self.load_ohm / (self.load_ohm + self.output_ohm)

    def asked_v(self, times_s: Samples) -> Samples:
        """What each output is asked for, inside; times (columns,)."""
        angle = self.angular_hz * times_s + self.phase
        return np.asarray(self.peak_v * (np.sin(angle) + self.third * np.sin(3.0 * angle)) + self.dc_v)

    def input_ohm(self, kind: Kind) -> Samples:
        """What the supply's path adds to the source resistance of the rails, which a held rail does not see."""
        return np.zeros_like(self.path_ohm) if kind.regulated else self.path_ohm * self.ratio**2 / self.efficiency

    def lumped_ohm(self, kind: Kind) -> Samples:
        """Source resistance of both rails as one, with the supply's path."""
        return self.stiffness_ohm + self.input_ohm(kind)

    def hurry(self, kind: Kind) -> Samples:
        """By which part the rails move faster where their charging current lags for an inductance of the path.

        Of C V'' L + C V' R + V = E the slow root is -1/(RC) (1 + L/(R² C)), to first order in L.
        """
        if kind.regulated:
            return np.zeros_like(self.path_ohm)
        reflected_h = self.path_h * self.ratio**2 / self.efficiency
        return np.asarray(reflected_h / (self.lumped_ohm(kind) ** 2 * self.reservoir_f))

    def along_times(self) -> Physics:
        """The same, for calculations at many times at once: values of outputs have shape (channels, 1, columns)."""
        values = {name: np.asarray(value) for name, value in vars(self).items()}
        return Physics(**{name: each[:, None] if each.ndim == 2 else each for name, each in values.items()})

    def first_of_each(self, sets: int) -> Physics:
        """Of each `sets` columns in a row the first."""
        return Physics(**{name: np.asarray(value)[..., ::sets] for name, value in vars(self).items()})
