"""The power into the loads at any time, from the supply's current: by the powers that the run's figures hold.

A class AB stage takes current in proportion to the voltage at its output, so that the power into a load goes with the
square of the current beyond the idle current; where a regulated converter feeds it, with the square of the power beyond
the idle. Of class D the power in and out are in proportion. The factor is measured at each figure of power, and taken
between them from the nearest ones.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchctl.archive.journal.entries import FiguresEntry
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.measure.budget.figure import Figure

Samples = NDArray[np.float64]

POWERS = ("continuous_power", "average_power")
MOST_OUT = 0.95
"""Of the power beyond the idle power: no stage gives more of it to the load."""

LEAST_BEYOND_A = 0.05
"""Beyond the idle current: of less, an error of the current would make most."""


@dataclass(frozen=True)
class Point:
    """A power into all loads, with the supply's current and voltage; `relative_u` is a standard uncertainty of it, and
    `current_u` of the current. `lasted_s`: how long it played before the figure was made."""

    load_ohm: float
    power_w: float
    supply_a: float
    supply_v: float
    relative_u: float
    is_steady: bool
    current_u: float = 0.0
    lasted_s: float = math.inf


def points_of(entries: Sequence[FiguresEntry]) -> tuple[Point, ...]:
    """All powers of steady tones, and of bursts over whole periods of them."""
    return tuple(found for entry in entries if (found := point_of(entry)) is not None)


def point_of(entry: FiguresEntry) -> Point | None:
    """The one of an analysis; None where it has none."""
    load_ohm = entry.conditions.load_ohm
    power = _figure(entry.figures, POWERS, "total") or _alone(entry)
    current = _figure(entry.figures, ("supply_current",), "")
    voltage = _figure(entry.figures, ("supply_output_voltage", "supply_voltage"), "")
    if load_ohm is None or power is None or current is None or voltage is None or entry.analysis == "burst":
        return None
    relative_u = (power.expanded_uncertainty or 0.0) / 2.0 / power.value
    is_steady = entry.context.get("every_s") is None
    current_u = (current.expanded_uncertainty or 0.0) / 2.0 / current.value
    lasted = _figure(entry.figures, ("soak_time",), "")
    lasted_s = math.inf if lasted is None else lasted.value
    return Point(load_ohm, power.value, current.value, voltage.value, relative_u, is_steady, current_u, lasted_s)


def _figure(figures: Sequence[Figure], names: Sequence[str], channel: str) -> Figure | None:
    found = (f for name in names for f in figures if (f.name, f.channel) == (name, channel))
    return next((f for f in found if f.value > 0.0 and not f.contradiction), None)


def _alone(entry: FiguresEntry) -> Figure | None:
    """Of an amplifier with one channel, which has no total."""
    powers = [figure for figure in entry.figures if figure.name in POWERS]
    return powers[0] if len(powers) == 1 and powers[0].value > 0.0 and not powers[0].contradiction else None


class Outputs:
    """Power into the loads as a function of the supply's current and voltage."""

    def __init__(self, points: Sequence[Point], amplifier: Amplifier, idle_a: float) -> None:
        self._is_d = amplifier.amplifier_class == "D"
        self._is_held = amplifier.rails == "regulated"
        self._idle_a = idle_a
        self._points = sorted(self._usable(points), key=lambda point: point.supply_a)

    def _usable(self, points: Sequence[Point]) -> Iterator[Point]:
        return (each for each in points if each.is_steady and each.supply_a > self._idle_a + LEAST_BEYOND_A)

    @property
    def are_known(self) -> bool:
        """Whether the run has a figure of a steady tone's power."""
        return bool(self._points)

    def beyond_w(self, supply_v: Samples, supply_a: Samples) -> Samples:
        """Power from the supply beyond that of the idle."""
        return np.asarray(supply_v * np.maximum(supply_a - self._idle_a, 0.0))

    def power_w(self, load_ohm: float, supply_v: Samples, supply_a: Samples) -> Samples:
        """Into all loads under steady tones; nothing where no power is known."""
        if not self._points:
            return np.zeros_like(supply_a)
        near = self._nearest(load_ohm)
        factors = [point.power_w / float(self._law(point.load_ohm, point.supply_v, point.supply_a)) for point in near]
        factor = np.interp(supply_a, [point.supply_a for point in near], factors)
        return np.asarray(
            np.minimum(factor * self._law(load_ohm, supply_v, supply_a), MOST_OUT * self.beyond_w(supply_v, supply_a))
        )

    def _nearest(self, load_ohm: float) -> list[Point]:
        away = min(abs(math.log(point.load_ohm / load_ohm)) for point in self._points)
        return [each for each in self._points if abs(abs(math.log(each.load_ohm / load_ohm)) - away) < 1e-3]

    def _law(self, load_ohm: float, supply_v: Samples | float, supply_a: Samples | float) -> Samples:
        beyond_a = np.maximum(np.asarray(supply_a) - self._idle_a, 0.0)
        if self._is_d:
            return np.asarray(supply_v * beyond_a)
        return np.asarray(load_ohm * ((supply_v if self._is_held else 1.0) * beyond_a) ** 2)
