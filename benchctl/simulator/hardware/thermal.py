"""Heat: a chain of thermal masses from the source of the heat to the air, and sensors that follow it.

The chain is linear, so a step of any length with constant heat is exact: the temperatures move along the eigenvectors
of the (symmetrised) conductance matrix, each with its own time constant.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

Matrix = list[list[float]]


class ThermalChain:
    """Masses in a row: heat enters the first; each passes it on to the next, the last to the air.

    Args:
        resistances_k_per_w: from each mass to the next, the last one to the air.
        capacities_j_per_k: of each mass.
        ambient_c: of the air; every mass starts there.
    """

    def __init__(
        self, resistances_k_per_w: Sequence[float], capacities_j_per_k: Sequence[float], ambient_c: float
    ) -> None:
        if len(resistances_k_per_w) != len(capacities_j_per_k) or not capacities_j_per_k:
            raise ValueError("a thermal chain needs one resistance for each capacity, and at least one of them")
        if min(*resistances_k_per_w, *capacities_j_per_k) <= 0:
            raise ValueError("thermal resistances and capacities must be positive")
        self.ambient_c = ambient_c
        self._resistances = tuple(resistances_k_per_w)
        self._capacities = tuple(capacities_j_per_k)
        self._to_air_k_per_w = [sum(self._resistances[index:]) for index in range(len(self._resistances))]
        self._rises = [0.0] * len(capacities_j_per_k)
        self._temperatures_c = (ambient_c,) * len(capacities_j_per_k)
        self._rates, self._to_modes, self._from_modes = _modes(self._resistances, self._capacities)
        self._seconds, self._left = 0.0, [1.0] * len(self._rates)

    @property
    def temperatures_c(self) -> tuple[float, ...]:
        """Of each mass, the heated one first."""
        return self._temperatures_c

    def steady_rises_k(self, heat_w: float) -> tuple[float, ...]:
        """Final rises above ambient with constant `heat_w`."""
        return tuple([heat_w * resistance for resistance in self._to_air_k_per_w])

    def advance(self, seconds: float, heat_w: float) -> None:
        """Let `heat_w` act for `seconds`, exactly."""
        if heat_w == 0 and not any(self._rises):
            return
        if seconds != self._seconds:  # steps of one length come one after the other
            self._seconds, self._left = seconds, [math.exp(-rate * seconds) for rate in self._rates]
        steady = self.steady_rises_k(heat_w)
        apart = [rise - target for rise, target in zip(self._rises, steady, strict=True)]
        modes = [left * _product(row, apart) for left, row in zip(self._left, self._to_modes, strict=True)]
        self._rises = [target + _product(row, modes) for target, row in zip(steady, self._from_modes, strict=True)]
        self._temperatures_c = tuple(self.ambient_c + rise for rise in self._rises)


class Sensor:
    """Follows the temperature of the part it is fixed to with a first-order lag, and takes no heat from it.

    Exact where that temperature changes evenly over a step, as it nearly does over these short steps.
    """

    def __init__(self, lag_s: float, temperature_c: float) -> None:
        self._lag_s = lag_s
        self._followed_c = temperature_c
        self.temperature_c = temperature_c

    def follow(self, seconds: float, to_c: float) -> None:
        """The part it is fixed to has moved to `to_c` in `seconds`.

        x(t) = T(t) - lag·slope + (x(0) - T(0) + lag·slope)·exp(-t/lag), which solves lag·dx/dt = T - x for T with a
        constant slope.
        """
        if self._lag_s == 0:
            self.temperature_c = to_c
            return
        behind_k = self._lag_s * (to_c - self._followed_c) / seconds
        left = math.exp(-seconds / self._lag_s)
        self.temperature_c = to_c - behind_k + (self.temperature_c - self._followed_c + behind_k) * left
        self._followed_c = to_c


def _product(row: Sequence[float], values: Sequence[float]) -> float:
    return sum([weight * value for weight, value in zip(row, values, strict=True)])


def _modes(resistances: tuple[float, ...], capacities: tuple[float, ...]) -> tuple[list[float], Matrix, Matrix]:
    """Decay rates (1/s) and the matrices to and from the modes of C·dT/dt = -G·T."""
    count = len(capacities)
    conductance = np.zeros((count, count))
    for index, resistance in enumerate(resistances):
        conductance[index, index] += 1 / resistance
        if index + 1 < count:
            conductance[index + 1, index + 1] += 1 / resistance
            conductance[index, index + 1] = conductance[index + 1, index] = -1 / resistance
    root = np.sqrt(np.asarray(capacities))
    rates, vectors = np.linalg.eigh(conductance / np.outer(root, root))
    return rates.tolist(), (vectors.T * root).tolist(), (vectors / root[:, None]).tolist()
