"""Limits that the bench cannot resolve: an instrument's own error could look like what the limit is for, or hide it.

A limit within the error that its instrument may have at zero is refused. A limit that a healthy run may pass through
the instrument's error alone is a warning.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

from benchctl.documents.driver_file.oscilloscope import OscilloscopeDriver
from benchctl.documents.model.limits import Limit, output_signal
from benchctl.documents.sequence_file.bench_steps import PowerOn, RampSupply, Set
from benchctl.instruments.oscilloscope.timing import scale_set_v
from benchctl.instruments.oscilloscope.vertical import FILL, setting_v
from benchctl.measure.budget.zero import limit_left, stated_limit
from benchctl.measure.signal.record import OUTPUT
from benchctl.quantity import render
from benchctl.runner.acting.contexts import reading_accuracies, signal_accuracies
from benchctl.runner.acting.records.record_taking import quiet_peak_v
from benchctl.runner.acting.records.zeroing import largest_peaks
from benchctl.runner.acting.run import Files
from benchctl.runner.expected.state import AMBIENT_C
from benchctl.runner.plan import PlannedStep


def unresolved(files: Files, plan: Sequence[PlannedStep]) -> Iterator[str]:
    """Every limit of sequence and bench that lies within its instrument's own error, and which limit would be
    possible.
    """
    for signal, limit, origin in _limits(files):
        for reason in _why_unresolved(files, signal, limit, takes_zero=_switches_on(plan)):
            yield f"the {origin} limits {signal} ({limit}), which this bench cannot resolve: {reason}"


def too_close(files: Files, plan: Sequence[PlannedStep]) -> Iterator[str]:
    """Every limit on the supply's voltage that a voltage of the sequence may pass through the error of its reading
    alone.
    """
    accuracy = reading_accuracies(files.bench).get("supply_voltage", ())
    set_v = sorted({voltage_v for planned in plan for voltage_v in _voltages(planned)})
    for signal, limit, origin in _limits(files):
        for voltage_v in set_v if signal == "supply_voltage" else ():
            error_v = sum(each.limit(voltage_v) for each in accuracy)
            if limit.low <= voltage_v <= limit.high and not limit.low + error_v <= voltage_v <= limit.high - error_v:
                yield (
                    f"the {origin} limits supply_voltage ({limit}), and the reading of {render(voltage_v, 'V')} may be "
                    f"off by {render(error_v, 'V', digits=2)}: it may trip for that alone; leave more room"
                )


def coarse_ranges(files: Files, plan: Sequence[PlannedStep]) -> Iterator[str]:
    """Where a limit on dc trips later than it says, on the oscilloscope range that full power needs."""
    for signal, limit, _ in _limits(files):
        sight = _widest(files, takes_zero=_switches_on(plan)) if signal == "output_offset" else None
        if sight is not None and sight.error_v > (bound_v := _nearest_bound(limit)) * _NOTED:
            yield (
                f"output_offset ({limit}): in records at full power, on a range of "
                f"{render(sight.half_range_v, 'V', digits=2)} to either side, dc is known to "
                f"{render(sight.error_v, 'V', digits=2)} only, so there it is not sure to trip below "
                f"{render(bound_v + 2.0 * sight.error_v, 'V', digits=2)}"
            )


# An error of more than this part of the limit is worth a note.
_NOTED = 0.5


class _Sight(NamedTuple):
    """A range of the oscilloscope at an output, from zero to full scale, and the largest error of dc on it."""

    half_range_v: float
    error_v: float


def _limits(files: Files) -> Iterator[tuple[str, Limit, str]]:
    for limits, origin in ((files.sequence.limits, "sequence"), (files.bench.limits, "bench")):
        for signal, limit in limits.items():
            yield signal, limit, origin


def _switches_on(plan: Sequence[PlannedStep]) -> bool:
    """Whether the run switches the amplifier on itself, so that it takes the zero before."""
    return any(isinstance(planned.step, PowerOn | RampSupply) for planned in plan)


def _voltages(planned: PlannedStep) -> Iterator[float]:
    step = planned.step
    if isinstance(step, PowerOn | RampSupply):
        yield step.voltage_v
    elif isinstance(step, Set) and step.supply_v is not None:
        yield step.supply_v


def _nearest_bound(limit: Limit) -> float:
    """The bound that is nearest to zero."""
    return min(abs(bound) for bound in (limit.low, limit.high))


def _why_unresolved(files: Files, signal: str, limit: Limit, *, takes_zero: bool) -> Iterator[str]:
    if signal == "output_offset":
        yield from _of_dc(files, limit, takes_zero=takes_zero)
    elif signal.startswith("supply_current"):
        yield from _of_current(files, signal, limit)
    elif limit.unit == "degC":
        yield from _of_temperature(files, signal, limit)


def _of_dc(files: Files, limit: Limit, *, takes_zero: bool) -> Iterator[str]:
    """The error of dc at quiet outputs: a quiet output is measured on a fine range."""
    quietest = _finest(files, takes_zero=takes_zero)
    if quietest is not None and (bound_v := _nearest_bound(limit)) <= quietest.error_v:
        half_range, error = (render(value, "V", digits=2) for value in quietest)
        instead = "" if takes_zero else ", or switch the amplifier on in the sequence, so that its zero can be taken"
        yield (
            f"of quiet outputs, on a range of {half_range} to either side, the oscilloscope knows dc to {error}, and "
            f"the limit is {render(bound_v, 'V')}; give more than {error}, use probes of a lower ratio or an "
            f"oscilloscope of more bits{instead}"
        )


def _finest(files: Files, *, takes_zero: bool) -> _Sight | None:
    """The range of a quiet output, at the worst of the outputs."""
    peak_v = quiet_peak_v(files.amplifier)
    outputs = [name for name in largest_peaks(files.bench, files.amplifier) if name.startswith(OUTPUT)]
    return _worst(files, dict.fromkeys(outputs, peak_v), takes_zero=takes_zero)


def _widest(files: Files, *, takes_zero: bool) -> _Sight | None:
    """The range that full power needs, at the worst of the outputs."""
    peaks = largest_peaks(files.bench, files.amplifier)
    outputs = {name: peak_v for name, peak_v in peaks.items() if name.startswith(OUTPUT)}
    return _worst(files, outputs, takes_zero=takes_zero)


def _worst(files: Files, peaks_v: dict[str, float], *, takes_zero: bool) -> _Sight | None:
    sights = [_sight(files, name, peak_v, takes_zero=takes_zero) for name, peak_v in peaks_v.items()]
    return max((sight for sight in sights if sight is not None), key=lambda sight: sight.error_v, default=None)


def _sight(files: Files, signal: str, peak_v: float, *, takes_zero: bool) -> _Sight | None:
    oscilloscope, driver = files.bench.instruments.oscilloscope, files.bench.drivers.get("oscilloscope")
    if oscilloscope is None or not isinstance(driver, OscilloscopeDriver):
        return None
    per_volt = dict(files.bench.signals.wirings())[signal].probe.units_per_volt
    half_divisions = driver.divisions.vertical / 2
    scale_v = scale_set_v(setting_v(peak_v / FILL / per_volt / half_divisions), driver)
    half_range_v = scale_v * half_divisions * per_volt
    accuracies = signal_accuracies(files.bench)[signal]
    if takes_zero:
        return _Sight(half_range_v, limit_left(accuracies, 2.0 * half_range_v, oscilloscope.ratings.bits))
    return _Sight(half_range_v, stated_limit(accuracies, 2.0 * half_range_v))


def _of_current(files: Files, signal: str, limit: Limit) -> Iterator[str]:
    """What an output reads that gives no current."""
    supply = files.bench.instruments.supply
    outputs = {} if supply is None else supply.outputs
    for name, output in outputs.items():
        if supply is not None and signal == output_signal("current", name) and math.isfinite(limit.high):
            stated = supply.accuracy.current
            error_a = stated.fixed + stated.range * output.current_a
            if limit.high <= error_a:
                yield (
                    f"the supply's reading may be off by {render(error_a, 'A', digits=3)} where no current flows; give "
                    f"more than that, or use a supply that reads finer"
                )


def _of_temperature(files: Files, signal: str, limit: Limit) -> Iterator[str]:
    """What a sensor reads while everything is cold."""
    error_k = sum(each.fixed for each in reading_accuracies(files.bench).get(signal, ()))
    coldest_c = AMBIENT_C + error_k
    if error_k and math.isfinite(limit.high) and limit.high <= coldest_c:
        yield (
            f"the thermometer may be off by {render(error_k, 'K', digits=3)}, so it may read that at room temperature, "
            f"{render(AMBIENT_C, 'degC')}; give more than {render(coldest_c, 'degC')}"
        )
