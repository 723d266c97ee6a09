"""What an instrument shows of what there truly is: errors of gain and zero, and the steps of its converter.

A mean over many samples is off by what noise leaves of the steps: about a sine of the level, with one step as its
period (Carbone and Petri, IEEE Trans. Instrum. Meas. 43, 1994). Where a fall is of about one step, this sine looks
much like a part of the fall, so its size and phase are fitted beside it. Where on the sine a voltage lies comes from
the model, which knows it to a part of a step but for what all values share. A current is not known so well, so there it
comes from the reading.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from benchctl.fit.parameters import Parameters, Samples
from benchctl.fit.plausible import SINES, gain_of, range_gain_of, record_gain_of, steps_of, zero_of
from benchctl.fit.reading.items import VOLTAGE, Item


@dataclass(frozen=True)
class Rows:
    """Where the values of one item stand among all; `supply_v` as the supply was set."""

    take: int
    item: Item
    start: int
    supply_v: float

    @property
    def stop(self) -> int:
        """One beyond the last."""
        return self.start + len(self.item.values)


class Showing:
    """The instruments of one run."""

    def __init__(self, parameters: Parameters, rows: Sequence[Rows]) -> None:
        self._spreads = np.array([each.spread for each in parameters.each])
        self._parts = [_part(parameters, each) for each in rows]
        self._values = rows[-1].stop if rows else 0

    def shown(self, truly: Samples, parameters: Samples) -> Samples:
        """Readings of what truly is, shape (values,)."""
        shown = np.empty(self._values)
        for part in self._parts:
            here = truly[part.here]
            shown[part.here] = here * (1.0 + parameters[part.gains].sum()) + parameters[part.zero]
            if part.steps:
                shown[part.here] += parameters[part.steps] @ part.waves(here)
        return shown

    def rises(self, truly: Samples, parameters: Samples) -> Samples:
        """How each reading moves with what truly is."""
        found = np.empty(self._values)
        for part in self._parts:
            found[part.here] = 1.0 + parameters[part.gains].sum()
            if part.steps and part.readings is None:
                sine, cosine = part.waves(truly[part.here])
                found[part.here] += part.turns * (parameters[part.steps] @ np.array([cosine, -sine]))
        return found

    def columns(self, found: Samples, truly: Samples) -> None:
        """Write how readings move with each coordinate of an instrument into a Jacobian, (values, parameters)."""
        for part in self._parts:
            here = truly[part.here]
            found[part.here, part.gains] = here[:, None] * self._spreads[part.gains]
            found[part.here, part.zero] = self._spreads[part.zero]
            if part.steps:
                found[part.here, part.steps] = part.waves(here).T * self._spreads[part.steps]


@dataclass(frozen=True)
class _Part:
    """The values of one item, the places of its parameters, and radians of the steps' sine for a unit.

    `steps` is empty where it has none; `readings`: what places them on that sine, None where the model does.
    """

    here: slice
    gains: list[int]
    zero: int
    steps: list[int]
    turns: float
    readings: Samples | None

    def waves(self, truly: Samples) -> Samples:
        """Sine and cosine of the steps, (2, values)."""
        angles = self.turns * (truly if self.readings is None else self.readings)
        return np.array([np.sin(angles), np.cos(angles)])


def _part(parameters: Parameters, rows: Rows) -> _Part:
    scale = rows.item.scale
    gains = [(gain_of(scale), -1), (range_gain_of(scale), -1), (record_gain_of(scale.signal), rows.take)]
    steps = [steps_of(scale, rows.supply_v, each) for each in SINES]
    return _Part(
        here=slice(rows.start, rows.stop),
        gains=[parameters.place(*each) for each in gains if parameters.has(*each)],
        zero=parameters.place(zero_of(scale)),
        steps=[parameters.place(each) for each in steps if parameters.has(each)],
        turns=2.0 * np.pi / scale.step if scale.step else 0.0,
        readings=None if scale.signal == VOLTAGE else rows.item.values,
    )
