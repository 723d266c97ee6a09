"""What is asked for, and what is predicted of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from benchctl.measure.budget.figure import Figure
from benchctl.measure.uncertainty import COVERAGE_FACTOR

THD_LIMIT = 0.01
"""Clean is up to so much THD+N, as in the shipped sequences."""


@dataclass(frozen=True)
class Asked:
    """All channels driven with one level into like loads.

    Attributes:
        load_ohm: nominal.
        supply_v: as the supply is set.
        bursts: numbers of cycles.
        true_ohm: channel -> its load as it was measured, where it is known; else it is just the nominal one.
    """

    load_ohm: float
    supply_v: float
    bursts: tuple[int, ...] = ()
    true_ohm: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Predicted:
    """One figure, named as the measured one would be. U is for k = 2.

    `cycles`: of the burst; 0 of a continuous tone. `parts`: what makes U, each as a U of its own.
    """

    name: str
    channel: str
    unit: str
    value: float
    expanded_uncertainty: float
    cycles: int
    parts: Mapping[str, float]

    @property
    def figure(self) -> Figure:
        """As a figure, to be said like one."""
        return Figure(
            self.name,
            self.value,
            self.unit,
            self.expanded_uncertainty,
            COVERAGE_FACTOR,
            self.channel,
            self.cycles or None,
        )
