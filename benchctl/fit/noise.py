"""The noise of all values of a run, and what values by one converter share.

No two steps of a converter are alike, so two values that lie near one another are off by much the same
(`reading/unlike`). All samples of a flat top are: they are hardly worth more than one. So the values of one range are
weighed together, by the inverse of their covariance.

Where a sample truly lies comes from the model, once it is near. Taken from its own reading, which noise has put on one
step or the next, the few samples on a step would count for more than they are worth, and rounded tops come out flat.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from benchctl.fit.reading.items import Samples
from benchctl.fit.reading.unlike import SEEN_QUIET, shared_between, sine_of_steps
from benchctl.fit.showing import Rows
from benchctl.measure.signal.record import OUTPUT

ALIKE = 0.5
"""Of what unlike steps leave in a value, as variance: so much is that of its level, and the rest its own, for samples
do not spread around a level quite as is reckoned. Set after trials on simulated benches."""

FEW = 60
"""A record with more values than this is weighed for itself, for all records of a run would be thousands of values.
What such records share counts in the covariance of the fit (`beside_weights`)."""

COARSELY = 4.0
"""Where every noise is taken so many times as large, as on the way to a fit, what values share does not count."""

_BLOCK = 64


@dataclass(frozen=True)
class _Part:
    """Values by one converter on one range that are weighed together.

    Attributes:
        converter: its signal and range.
        places: where they stand among all values.
        step: of the converter.
        levels: in steps, as `spreads`.
        moved: by how much each is off where the gain has moved from record to record, in its unit; 0 where that is
            fitted.
        records: the one that each is of.
    """

    converter: tuple[str, str]
    places: list[int]
    step: float
    levels: Samples
    spreads: Samples
    moved: Samples
    records: NDArray[np.int64]

    def covariance(self, own: Samples) -> Samples:
        """Of its values with each other; `own`: the square of what each shares with no other, steps included."""
        alike = self.records[:, None] == self.records[None, :]
        found = self.shared_with(self)
        np.fill_diagonal(found, own)
        return found + np.where(alike, self.moved[:, None] * self.moved[None, :], 0.0)

    def shared_with(self, other: _Part) -> Samples:
        """What unlike steps let each value share with each of another part, as covariance."""
        shared = shared_between(self.levels, self.spreads, other.levels, other.spreads)
        return np.asarray(ALIKE * self.step**2 * shared)

    def sines(self) -> Samples:
        """A sine of the level of unknown phase, as the standard uncertainty of each of its two parts, (values, 2)."""
        u = math.sqrt(SEEN_QUIET / 2.0) * self.step * sine_of_steps(self.spreads)
        turns = 2.0 * math.pi * self.levels
        return np.column_stack([u * np.cos(turns), u * np.sin(turns)])


class Noise:
    """Of the values of one run.

    Args:
        levels: where each value of an output lies by the model, (values,); None takes the readings. All others are
            means, whose readings have little noise.
    """

    def __init__(self, rows: Sequence[Rows], levels: Samples | None = None) -> None:
        self._alone = np.concatenate([each.item.noise for each in rows])
        self._parts = [_part(*each, levels) for each in _together(rows).items()]
        self._known: tuple[bytes, list[Samples]] | None = None

    def over(self, found: Samples, scaled: Samples) -> Samples:
        """Errors (values,) or slopes (values, parameters) over their noise, so that each row has a standard deviation
        of 1 and no two rows of a record share anything.

        Args:
            scaled: a factor on the noise of each value, which it shares with no other.
        """
        weights = 1.0 / (self._alone * scaled)
        over = found * (weights if found.ndim == 1 else weights[:, None])
        if scaled.min() >= COARSELY:
            return np.asarray(over)
        for part, apart in zip(self._parts, self._apart(scaled), strict=True):
            over[part.places] = apart @ found[part.places]
        return np.asarray(over)

    def beside_weights(self, over: Samples, scaled: Samples) -> Samples:
        """What values share that the weights leave out: it adds to the square of the slopes, (parameters, parameters).

        Records of one range that are weighed apart share unlike steps. And samples of an output share what its steps
        leave wherever a level comes again, as in each cycle of a tone, where noise does not average it out.

        Args:
            over: slopes over their noise, as `over` gives them.
            scaled: as there.
        """
        each = zip(self._parts, self._apart(scaled), strict=True)
        weighed = [(part, apart.T @ over[part.places]) for part, apart in each]
        found = np.zeros((over.shape[1], over.shape[1]))
        for (part, slopes), (other, their_slopes) in combinations(weighed, 2):
            if part.converter == other.converter:
                shared = slopes.T @ part.shared_with(other) @ their_slopes
                found += shared + shared.T
        outputs = [part.converter for part in self._parts if part.converter[0].startswith(OUTPUT)]
        for converter in dict.fromkeys(outputs):  # in one order, so that sums are the same bytes each time
            alike = [part.sines().T @ slopes for part, slopes in weighed if part.converter == converter]
            sines = np.sum(alike, axis=0)
            found += sines.T @ sines
        return found

    def _apart(self, scaled: Samples) -> list[Samples]:
        """The matrix of each part that makes its values independent."""
        key = scaled.tobytes()
        if self._known is None or self._known[0] != key:
            own = (self._alone * scaled) ** 2
            self._known = (key, [_taken_apart(each, own[each.places]) for each in self._parts])
        return self._known[1]


def _together(rows: Sequence[Rows]) -> dict[tuple[str, str, int], list[Rows]]:
    """Items that come from a converter, by signal, range, and the record where it is a long one."""
    found: dict[tuple[str, str, int], list[Rows]] = {}
    for each in rows:
        if each.item.spreads is not None:
            only = each.take if len(each.item.values) > FEW else -1
            found.setdefault((each.item.signal, each.item.scale.range_name, only), []).append(each)
    return found


def _part(key: tuple[str, str, int], alike: Sequence[Rows], levels: Samples | None) -> _Part:
    places = [place for each in alike for place in range(each.start, each.stop)]
    items = [each.item for each in alike]
    step = items[0].scale.step
    read = np.concatenate([item.values for item in items])
    lies = levels[places] if levels is not None and key[0].startswith(OUTPUT) else read
    spreads = np.concatenate([item.spreads for item in items if item.spreads is not None])
    moves_u = [0.0 if key[0].startswith(OUTPUT) else item.scale.record_gain_u for item in items]
    moved = np.concatenate([each * item.values for each, item in zip(moves_u, items, strict=True)])
    records = np.repeat([each.take for each in alike], [len(item.values) for item in items])
    return _Part(key[:2], places, step, lies / step, spreads, moved, records)


def _taken_apart(part: _Part, own: Samples) -> Samples:
    """The inverse of the lower triangle of the covariance, block by block: numpy knows no triangles."""
    lower = np.linalg.cholesky(part.covariance(own))
    found = np.zeros_like(lower)
    for first in range(0, len(lower), _BLOCK):
        here = slice(first, first + _BLOCK)
        found[here, here] = np.linalg.inv(lower[here, here])
        found[here, :first] = -found[here, here] @ (lower[here, :first] @ found[:first, :first])
    return found
