"""What calibrations found: load resistors, probes and clamp, as the runs' bench files have them, by date."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bench_file.signals import CurrentClamp
from benchctl.quantity import render


@dataclass(frozen=True, order=True)
class CalibratedValue:
    """`relative_uncertainty`: k = 2 of a resistor, the stated accuracy of a probe."""

    what: str
    date: str
    value: float
    unit: str
    relative_uncertainty: float


def calibrated_values(bench: Bench) -> Iterator[CalibratedValue]:
    """Those of a bench file that say when they were measured."""
    load = bench.instruments.load
    stated = getattr(load, "calibrated", None)
    for resistor in bench.load_resistors:
        if (date := resistor.origin.date if resistor.origin is not None else stated) is not None:
            what = f"load of {render(resistor.nominal_ohm, 'ohm')} at output {resistor.channel}"
            yield CalibratedValue(what, str(date), resistor.measured_ohm, "ohm", resistor.uncertainty)
    for signal, wiring in bench.signals.wirings():
        probe = wiring.probe
        if probe.origin is not None:
            value, unit = (probe.sensitivity_v_per_a, "V/A") if isinstance(probe, CurrentClamp) else (probe.ratio, "")
            yield CalibratedValue(f"{probe.kind} of {signal}", str(probe.origin.date), value, unit, probe.accuracy)


def overdue(bench: Bench, day: datetime.date) -> Iterator[str]:
    """What should have been calibrated again by that day, and when."""
    for role, instrument in bench.instruments.items():
        if instrument.is_overdue(day):
            yield f"{role}, due on {instrument.calibration_due}"
    origins = [(f"{wiring.probe.kind} of {signal}", wiring.probe.origin) for signal, wiring in bench.signals.wirings()]
    loads = [
        (f"load of {render(each.nominal_ohm, 'ohm')} at output {each.channel}", each.origin)
        for each in bench.load_resistors
    ]
    for what, origin in (*origins, *loads):
        if origin is not None and origin.is_overdue(day):
            yield f"{what}, due on {origin.due}"


@dataclass(frozen=True)
class Recalibrated:
    """A value with the one before it of the same thing, if there is one."""

    found: CalibratedValue
    before: CalibratedValue | None

    @property
    def change(self) -> float | None:
        """Over the earlier value; None of the first."""
        return None if self.before is None else self.found.value / self.before.value - 1.0

    @property
    def is_change(self) -> bool:
        """Whether both uncertainties together leave it no other way."""
        if self.before is None or self.change is None:
            return False
        return abs(self.change) > math.hypot(self.found.relative_uncertainty, self.before.relative_uncertainty)


def in_order(values: Sequence[CalibratedValue]) -> list[Recalibrated]:
    """Each once, by what it is of and date, with the one before."""
    ordered = sorted(set(values))
    pairs = zip([None, *ordered], ordered, strict=False)
    return [Recalibrated(each, before if before and before.what == each.what else None) for before, each in pairs]
