"""The true error of each instrument, probe and resistor, drawn from the seed; no instrument on the bench knows them.

A draw depends on the seed and on the name of what is drawn, not on the order of drawing, so adding an instrument to a
bench changes nobody else's error.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from benchctl.documents.bench_file.simulation import BenchSimulation
from benchctl.simulator.model.description import Spec


@dataclass(frozen=True)
class TrueError:
    """indicated = true·(1 + gain) + offset; a setting is the inverse."""

    gain: float = 0.0
    offset: float = 0.0

    def indicated(self, true_value: float) -> float:
        """What the instrument shows for a true value."""
        return true_value * (1 + self.gain) + self.offset


class TrueErrors:
    """Draws errors by name."""

    def __init__(self, simulation: BenchSimulation) -> None:
        self._seed = simulation.seed
        self._drawn = simulation.instrument_errors == "drawn"
        self._given: Mapping[str, float] = simulation.errors
        self._known: set[str] = set()

    @property
    def known(self) -> tuple[str, ...]:
        """The names of all errors asked for so far."""
        return tuple(sorted(self._known))

    @property
    def unknown(self) -> tuple[str, ...]:
        """The names of errors that were given but never asked for: probably misspelt."""
        return tuple(name for name in self._given if name not in self._known)

    def error(self, name: str, spec: Spec, full_range: float = 0.0) -> TrueError:
        """An error inside `spec`: gain and offset each uniform within their limits (GUM 4.3.7)."""
        self._known.add(name)
        chance = self.stream(name)
        gain = chance.uniform(-spec.reading, spec.reading)
        offset = chance.uniform(-1.0, 1.0) * (spec.fixed + spec.range * full_range)
        if name in self._given:
            return TrueError(gain=self._given[name])
        return TrueError(gain, offset) if self._drawn else TrueError()

    def part(self, name: str, setting: str) -> float:
        """The offset of one setting of an instrument, in parts of its limit of error; none where its error is given."""
        if name in self._given or not self._drawn:
            return 0.0
        return self.stream(f"{name} at {setting}").uniform(-1.0, 1.0)

    def normal(self, name: str, expanded: float) -> float:
        """A relative error with the expanded uncertainty (k = 2) `expanded`; it always lies inside that."""
        self._known.add(name)
        if name in self._given:
            return self._given[name]
        if not self._drawn:
            return 0.0
        chance = self.stream(name)
        while True:
            error = chance.gauss(0.0, expanded / 2)
            if abs(error) <= expanded:
                return error

    def stream(self, name: str) -> random.Random:
        """A repeatable random stream for `name`."""
        return random.Random(f"{self._seed}/{name}")

    def noise(self, name: str, count: int) -> np.random.Generator:
        """A repeatable random stream for arrays, for record number `count` of `name`."""
        return np.random.default_rng([self._seed, count, *name.encode()])
