"""What physics forbids, whatever an instrument shows: more power out than in, and heat that warms nothing."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

import numpy as np
from uncertainties import UFloat

from benchctl.measure.agreement.comparison import Comparison, Sight
from benchctl.measure.agreement.reliance import HEATSINK, POWER
from benchctl.measure.agreement.supply import NOT_AT_ONCE
from benchctl.measure.analyses.soak_figures import LAST, SoakContext, span_of
from benchctl.measure.analyses.supply_figures import output_power
from benchctl.measure.budget.meters import Readings
from benchctl.measure.budget.signals import Signals
from benchctl.measure.signal.record import Capture
from benchctl.measure.uncertainty import COVERAGE_FACTOR

_CHECK_POWER = (
    "An amplifier gives less than it takes. Check the ratio of the output probes and the load's resistance, and "
    "whether all of the supply current is read"
)
_CHECK_HEATSINK = "Check whether the sensor still sits on the heatsink, and whether its reading changes at all"

# A heatsink of a tenth of the rise that its plate lets expect, from a smaller one, is none (common practice: such
# figures are right to a half).
_LEAST_OF_RISE = 0.1
# A rise of less tells nothing: sensors lag, and the air moves.
_TELLING_RISE_K = 5.0
# Where the air's temperature is not measured a heatsink that begins warmer than this may have to cool.
_WARM_C = 35.0
# What the air may be at most where it is not measured.
_AIR_C = 30.0


def power_comparison(output_w: UFloat | None, supply_w: UFloat | None) -> Iterator[Comparison]:
    """The power of all outputs against that of the supply, over the same time."""
    if output_w is None or supply_w is None:
        return
    out = Sight("the outputs give", float(output_w.nominal_value), COVERAGE_FACTOR * float(output_w.std_dev))
    into = Sight("the supply gives", float(supply_w.nominal_value), COVERAGE_FACTOR * float(supply_w.std_dev))
    room = out.uncertainty + into.uncertainty + NOT_AT_ONCE * abs(into.value)
    yield Comparison(POWER, "W", out, into, None, room, _CHECK_POWER)


def heat_comparison(captures: Mapping[str, Capture], readings: Readings, context: SoakContext) -> Iterator[Comparison]:
    """The heatsink's rise over a long drive against what the heat in it makes of it, by the amplifier file."""
    end = _whole(readings)
    if LAST not in captures or end is None or context.heatsink_k_per_w is None:
        return
    times_s, temperatures_c, supply_w = end
    capture = captures[LAST]
    output_w = output_power(Signals(capture, context.accuracy, context.loads), span_of(capture, context))
    if output_w is None:
        return
    heat_w, for_s = float(supply_w.mean() - output_w.nominal_value), float(times_s[-1] - times_s[0])
    warmed = 1.0 - math.exp(-for_s / context.heatsink_time_constant_s)
    expected_k = (_AIR_C - max(temperatures_c[0], _AIR_C) + heat_w * context.heatsink_k_per_w) * warmed
    if temperatures_c[0] > _WARM_C or expected_k < _TELLING_RISE_K:
        return
    rose = Sight("it rose by", float(temperatures_c[-1] - temperatures_c[0]))
    makes = Sight("the heat of the drive makes", expected_k)
    yield Comparison(HEATSINK, "K", rose, makes, (_LEAST_OF_RISE - 1.0) * expected_k, None, _CHECK_HEATSINK)


_Samples = np.ndarray[tuple[int], np.dtype[np.float64]]


def _whole(readings: Readings) -> tuple[_Samples, _Samples, _Samples] | None:
    """Time, heatsink and supply power, as far as all of them were read together; None where they were not."""
    together = [readings.get(name, ()) for name in ("time", "heatsink", "supply_current", "supply_voltage")]
    rows = zip(*together, strict=False)
    whole = np.array([row for row in rows if all(map(math.isfinite, row))])
    if len(whole) < 2:
        return None
    return whole[:, 0], whole[:, 1], whole[:, 2] * whole[:, 3]
