"""The heatsink's sensor against the heat that the supply brings: what has warmed must show it.

From the supply's power follows the least heat that can be in the heatsink, and from that, with what the amplifier file
says of it, the least that its temperature must have risen. A sensor that fell off, or one that changed places with
another, shows less than a tenth of it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from benchctl.measure.agreement.comparison import Comparison, Sight
from benchctl.measure.agreement.reliance import HEATSINK
from benchctl.measure.analyses.warmth_context import WarmthContext
from benchctl.measure.budget.meters import Readings
from benchctl.measure.signal.record import Capture

# A sensor on a heatsink follows it within so long (common practice: ten seconds for one that is clamped on well).
LAG_S = 30.0
# Less than this tells nothing: sensors show steps of half a kelvin and more, and the air moves.
TELLING_K = 10.0
# A heatsink of a tenth of the rise that its file lets expect is none (common practice: files are right to a half, and a
# fan makes of it a third).
_LEAST_OF_RISE = 0.1
# Where nothing measures it the air may be so cold, and the heatsink may have been warm from an earlier run.
_COLDEST_AIR_C = 15.0
# Another sensor that rises by so much of it is the one on the heatsink.
_MOVED_FROM = 0.5

NOT_ON_IT = (
    "Most likely this sensor is not on the heatsink: it fell off, or two sensors changed places. Look where it is"
)
MOVED = "Most likely two sensors changed places. Look which one is on the heatsink"

TIME, VOLTAGE, CURRENT, AIR = "time", "supply_voltage", "supply_current", "ambient"
SENSOR = "heatsink"
NAMES = (TIME, VOLTAGE, CURRENT, SENSOR, AIR)


@dataclass(frozen=True)
class Row:
    """What was read at one time; NaN where it was not."""

    time_s: float
    supply_v: float
    supply_a: float
    heatsink_c: float
    air_c: float


class LeastRise:
    """The least by which the heatsink's temperature must have changed since the first row.

    What it holds of an earlier run it may lose meanwhile: that is taken off.
    """

    def __init__(self, context: WarmthContext, first: Row) -> None:
        self._context = context
        self.first = first
        air_c = _COLDEST_AIR_C if math.isnan(first.air_c) else first.air_c - _limits_k(context)
        self._excess_k = max(first.heatsink_c - air_c, 0.0)
        self._made_k, self._last = 0.0, first
        self._past = [(first.time_s, 0.0)]

    def follow(self, row: Row) -> float:
        """With the power of the last row until this one: the least, as a sensor that lags shows it, K."""
        tau_s, k_per_w = self._context.time_constant_s, self._context.heatsink_k_per_w
        moved = -math.expm1(-(row.time_s - self._last.time_s) / tau_s)
        self._made_k += (self._least_heat_w(self._last) * k_per_w - self._made_k) * moved
        lost_k = -self._excess_k * math.expm1(-(row.time_s - self.first.time_s) / tau_s)
        self._last = row
        self._past.append((row.time_s, self._made_k - lost_k))
        while len(self._past) > 1 and self._past[1][0] <= row.time_s - LAG_S:
            self._past.pop(0)
        return min(least_k for _, least_k in self._past) if row.time_s - self.first.time_s > LAG_S else 0.0

    def _least_heat_w(self, row: Row) -> float:
        """All of what it takes at idle, and of what is more the part that no output stage gives away."""
        power_w = row.supply_v * row.supply_a
        if not math.isfinite(power_w):
            return 0.0
        idle_w = min(max(power_w, 0.0), self._context.idle_w)
        return idle_w + self._context.least_heat * max(power_w - idle_w, 0.0)


def _limits_k(context: WarmthContext) -> float:
    """How far two sensors may be apart in the same air."""
    accuracies = (*context.readings_accuracy.get(SENSOR, ()), *context.readings_accuracy.get(AIR, ()))
    return sum(each.limit(0.0) for each in accuracies)


def rows_of(readings: Readings) -> list[Row]:
    """The rows, in the order of time."""
    return [Row(*values) for values in zip(*(readings.get(name, ()) for name in NAMES), strict=True)]


def warmth_comparisons(
    _captures: Mapping[str, Capture], readings: Readings, context: WarmthContext
) -> Iterator[Comparison]:
    """What the sensor shows at the last row, where the heat until then must show."""
    rows = rows_of(readings)
    if not rows:
        return
    least = LeastRise(context, rows[0])
    least_k = [least.follow(row) for row in rows[1:]]
    if least_k:
        yield from compared(rows[0], rows[-1], least_k[-1])


def compared(first: Row, last: Row, least_k: float) -> Iterator[Comparison]:
    """The change of the sensor's reading, less that of the air where it is read, against the least that it must be."""
    rose_k = last.heatsink_c - first.heatsink_c
    air_rose_k = last.air_c - first.air_c
    if least_k < TELLING_K or not math.isfinite(rose_k):
        return
    moved = air_rose_k > _MOVED_FROM * least_k
    shown = Sight(f"the sensor '{SENSOR}' rose by", rose_k - _or_zero(air_rose_k))
    makes = Sight("the heat meanwhile makes at least", least_k)
    check = MOVED if moved else NOT_ON_IT
    yield Comparison(HEATSINK, "K", shown, makes, (_LEAST_OF_RISE - 1.0) * least_k, None, check)


def _or_zero(value: float) -> float:
    return value if math.isfinite(value) else 0.0


def as_readings(rows: Sequence[Row]) -> dict[str, list[float]]:
    """The rows as an analysis keeps them."""
    return {
        TIME: [row.time_s for row in rows],
        VOLTAGE: [row.supply_v for row in rows],
        CURRENT: [row.supply_a for row in rows],
        SENSOR: [row.heatsink_c for row in rows],
        AIR: [row.air_c for row in rows],
    }
