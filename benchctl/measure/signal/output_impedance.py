"""Output impedance and damping factor from the output voltage into two loads at one unchanged drive."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

from uncertainties import UFloat

from benchctl.errors import MeasurementError
from benchctl.measure.uncertainty import COVERAGE_FACTOR, exactly

Number: TypeAlias = UFloat | float


@dataclass(frozen=True)
class OutputImpedance:
    """The amplifier as a source: `impedance` in ohm behind `source` in V RMS, with their uncertainties."""

    impedance: UFloat
    source: UFloat

    @property
    def is_bound(self) -> bool:
        """Whether the impedance cannot be told from zero (U = 2 u reaches it), so that only a bound is known."""
        return bool(self.impedance.nominal_value <= COVERAGE_FACTOR * self.impedance.std_dev)

    @property
    def highest_ohm(self) -> float:
        """The impedance is at most this: value + U."""
        return float(self.impedance.nominal_value + COVERAGE_FACTOR * self.impedance.std_dev)

    def damping_factor(self, load_ohm: float) -> UFloat:
        """Load over output impedance.

        Raises:
            MeasurementError: the impedance cannot be told from zero; `lowest_damping_factor` is what is known then.
        """
        if self.is_bound:
            raise MeasurementError(
                "the output impedance cannot be distinguished from zero, so the damping factor has no value"
            )
        return load_ohm / self.impedance

    def lowest_damping_factor(self, load_ohm: float) -> float:
        """The damping factor is at least this.

        Raises:
            MeasurementError: the two voltages contradict each other: even value + U is not above zero.
        """
        if not self.highest_ohm > 0.0:
            raise MeasurementError("the output voltage rose with the load by more than its uncertainty allows")
        return load_ohm / self.highest_ohm


def output_impedance(
    first_v: Number, first_ohm: Number, second_v: Number, second_ohm: Number, lead_ohm: Number = 0.0
) -> OutputImpedance:
    """Z = (V1 - V2) / (V2/R2 - V1/R1) and E = V1 (1 + Z/R1), Ohm's law for a source into two loads.

    `lead_ohm`, the leads between the amplifier's terminals and where the voltage is taken, is subtracted from Z. Give
    voltages that share an error (one meter, one range) as uncertain numbers that share it, for it all but cancels.

    Raises:
        MeasurementError: a value is not above zero, or both loads draw the same current.
    """
    v1, r1, v2, r2, lead = (
        exactly(value) if isinstance(value, int | float) else value
        for value in (first_v, first_ohm, second_v, second_ohm, lead_ohm)
    )
    if not all(value.nominal_value > 0.0 for value in (v1, r1, v2, r2)):
        raise MeasurementError("output impedance needs two voltages and two loads above zero")
    increase_a = v2 / r2 - v1 / r1
    if abs(increase_a.nominal_value) <= COVERAGE_FACTOR * increase_a.std_dev:
        raise MeasurementError("both loads draw the same current within its uncertainty; take two that differ more")
    seen = (v1 - v2) / increase_a
    return OutputImpedance(impedance=seen - lead, source=v1 * (1.0 + seen / r1))
