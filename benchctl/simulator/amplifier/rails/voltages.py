"""The voltages of the two rails, and what their reservoirs and source resistances are."""

from __future__ import annotations

from typing import NamedTuple


class Rails(NamedTuple):
    """Both rails at an instant, each counted from the middle."""

    plus_v: float
    minus_v: float

    @property
    def mean_v(self) -> float:
        """The rail where both are taken as one."""
        return (self.plus_v + self.minus_v) / 2

    @property
    def apart_v(self) -> float:
        """How far they differ."""
        return abs(self.plus_v - self.minus_v)

    def rounded(self, digits: int) -> Rails:
        """To so many decimals of a volt."""
        return Rails(round(self.plus_v, digits), round(self.minus_v, digits))


def alike(rail_v: float) -> Rails:
    """Both at one voltage."""
    return Rails(rail_v, rail_v)


EMPTY = alike(0.0)
