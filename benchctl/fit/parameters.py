"""What is fitted, by name: each parameter with the unit, and with what is plausible before anything is measured.

A parameter's coordinate is 0 at its plausible value, and 1 one plausible standard deviation from it, so that the
singular values of the Jacobian say at once what the data tell: far above 1 told, below 1 not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]
Reach = Literal["all", "take", "scale"]


@dataclass(frozen=True)
class Parameter:
    """One number.

    Attributes:
        name: such as `stiffness_ohm` or `gain A`.
        centre: the plausible value.
        spread: its plausible standard deviation; of the logarithm where `is_ratio`.
        is_ratio: positive, and plausible within a factor.
        reach: `all` of the model, one `take` only (then its number follows), or the `scale` of an instrument, which
            moves what is read and not what happens.
    """

    name: str
    centre: float
    spread: float
    is_ratio: bool = False
    reach: Reach = "all"
    take: int = -1


class Parameters:
    """All of them in their order."""

    def __init__(self, each: Sequence[Parameter]) -> None:
        self.each = tuple(each)
        self._places = {(parameter.name, parameter.take): place for place, parameter in enumerate(self.each)}
        self._centres = np.array([parameter.centre for parameter in self.each])
        self._spreads = np.array([parameter.spread for parameter in self.each])
        self._ratios = np.array([parameter.is_ratio for parameter in self.each])

    def __len__(self) -> int:
        return len(self.each)

    def place(self, name: str, take: int = -1) -> int:
        """Where it stands."""
        return self._places[name, take]

    def has(self, name: str, take: int = -1) -> bool:
        """Whether it is there."""
        return (name, take) in self._places

    def values(self, coordinates: Samples) -> Samples:
        """In their units; coordinates (..., parameters)."""
        moved = coordinates * self._spreads
        in_proportion = self._centres * np.exp(np.where(self._ratios, moved, 0.0))
        return np.where(self._ratios, in_proportion, self._centres + moved)

    def coordinates(self, started: Mapping[str, float]) -> Samples:
        """With these values to begin with, and 0 for all others."""
        found = np.zeros(len(self))
        for place, parameter in enumerate(self.each):
            if parameter.name in started and parameter.take < 0:
                found[place] = _coordinate(parameter, started[parameter.name])
        return found


def _coordinate(parameter: Parameter, value: float) -> float:
    if parameter.is_ratio:
        return float(np.log(value / parameter.centre)) / parameter.spread
    return (value - parameter.centre) / parameter.spread
