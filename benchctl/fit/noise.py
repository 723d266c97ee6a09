"""The noise of all values of a run, and what values by one converter share.

No two steps of a converter are alike, so two values that lie near one another are off by much the same
(`reading/unlike`). The values that one range shows are taken apart before they are weighed: or a fall by less than a
step, which all instants of a flat top show alike, would count as seen once at each of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from benchctl.fit.reading.items import Samples
from benchctl.fit.reading.unlike import shared_of_steps
from benchctl.fit.showing import Rows

ALIKE = 0.5
"""Of what unlike steps leave in a value, as variance: so much is that of its level, and the rest its own, for samples
do not spread around a level quite as is reckoned. Set after trials on simulated benches."""

FEW = 60
"""Items with more values than this are taken apart each for itself, as all of a run would be thousands at once."""


@dataclass(frozen=True)
class _Converter:
    """The values by one converter on one range: where they stand among all, and what they share, as covariance."""

    places: list[int]
    shared: Samples


class Noise:
    """Of the values of one run."""

    def __init__(self, rows: Sequence[Rows]) -> None:
        self._alone = np.concatenate([each.item.noise for each in rows])
        self._converters = [_converter(alike) for alike in _by_range(rows)]
        self._known: tuple[bytes, list[Samples]] | None = None

    def over(self, found: Samples, scaled: Samples) -> Samples:
        """Errors (values,) or slopes (values, parameters) over their noise, so that each row has a standard deviation
        of 1 and no two rows share anything.

        Args:
            scaled: a factor on the noise of each value, which it shares with no other.
        """
        weights = 1.0 / (self._alone * scaled)
        over = found * (weights if found.ndim == 1 else weights[:, None])
        for converter, apart in zip(self._converters, self._apart(scaled), strict=True):
            over[converter.places] = apart @ found[converter.places]
        return np.asarray(over)

    def _apart(self, scaled: Samples) -> list[Samples]:
        """What takes the values of each converter apart."""
        key = scaled.tobytes()
        if self._known is None or self._known[0] != key:
            own = (self._alone * scaled) ** 2
            self._known = (key, [_taken_apart(each, own[each.places]) for each in self._converters])
        return self._known[1]


def _by_range(rows: Sequence[Rows]) -> list[list[Rows]]:
    """Of each signal and range the items that come from a converter."""
    found: dict[tuple[str, str, int], list[Rows]] = {}
    for each in rows:
        if each.item.spreads is not None:
            only = each.take if len(each.item.values) > FEW else -1
            found.setdefault((each.item.signal, each.item.scale.range_name, only), []).append(each)
    return list(found.values())


def _converter(alike: Sequence[Rows]) -> _Converter:
    places = [place for each in alike for place in range(each.start, each.stop)]
    items = [each.item for each in alike]
    step = items[0].scale.step
    levels = np.concatenate([item.values for item in items]) / step
    spreads = np.concatenate([item.spreads for item in items if item.spreads is not None])
    return _Converter(places, ALIKE * step**2 * shared_of_steps(levels, spreads))


def _taken_apart(converter: _Converter, own: Samples) -> Samples:
    """The inverse of the lower triangle of the covariance; `own`: its diagonal."""
    whole = converter.shared.copy()
    np.fill_diagonal(whole, own)
    return np.asarray(np.linalg.inv(np.linalg.cholesky(whole)))
