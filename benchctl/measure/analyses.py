"""The figures of each kind of step, from its captures, its readings and their context; and nothing else.

The runner calls these when it measures, the archive when it verifies. There is no second path.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from uncertainties import UFloat

from benchctl.errors import MeasurementError
from benchctl.measure.burst import Burst, Cycle, CycleTable, cycle_table, find_burst
from benchctl.measure.context import BurstContext, ContinuousContext, IdleContext
from benchctl.measure.distortion import Distortion, harmonic_distortion, noise_and_distortion, tone_spectrum
from benchctl.measure.figure import Figure, figure_of, from_capture
from benchctl.measure.power import TOTAL, by_channel, load_power
from benchctl.measure.record import OUTPUT, SUPPLY_CURRENT, SUPPLY_VOLTAGE, Capture
from benchctl.measure.supply import Span, extremes, mean, mean_product, mean_square, whole_repetitions
from benchctl.measure.uncertainty import ErrorOf, exactly, mean_of

Captures = Mapping[str, Capture]
Readings = Mapping[str, Sequence[float]]


class _Bench:
    """The errors of one capture's signals, each one variable for the whole analysis."""

    def __init__(self, capture: Capture, context: IdleContext) -> None:
        self.capture = capture
        self._errors = {
            name: ErrorOf(context.accuracy.get(name, ()), trace.full_scale) for name, trace in capture.traces.items()
        }

    def error(self, signal: str) -> ErrorOf:
        return self._errors[signal]


def _reading(readings: Readings, name: str, context: IdleContext) -> UFloat | None:
    """The mean of repeated readings with its uncertainty; None where none was taken."""
    values = readings.get(name, ())
    if not values:
        return None
    return ErrorOf(context.readings_accuracy.get(name, ())).on(mean_of(values))


def _heatsink(readings: Readings, context: IdleContext) -> list[Figure]:
    temperature = _reading(readings, "heatsink", context)
    return [] if temperature is None else [figure_of("heatsink_temperature", temperature, "degC")]


# ---------------------------------------------------------------------------------------------------------------------
# Idle


def idle(captures: Captures, readings: Readings, context: IdleContext) -> list[Figure]:
    """idle_current, supply_voltage and idle_power, dc_offset per channel, heatsink_temperature."""
    figures: list[Figure] = []
    current, voltage = _reading(readings, "supply_current", context), _reading(readings, "supply_voltage", context)
    if current is not None:
        figures.append(figure_of("idle_current", current, "A"))
    if voltage is not None:
        figures.append(figure_of("supply_voltage", voltage, "V"))
    if current is not None and voltage is not None:
        figures.append(figure_of("idle_power", current * voltage, "W"))
    capture = captures.get("idle")
    if capture is not None:
        figures += from_capture(_dc_offsets(capture, context), capture.name)
    return figures + _heatsink(readings, context)


def _dc_offsets(capture: Capture, context: IdleContext) -> list[Figure]:
    bench = _Bench(capture, context)
    whole = Span(0, capture.samples)
    return [
        figure_of(
            "dc_offset", bench.error(OUTPUT + channel).on(mean(capture.trace(OUTPUT + channel), whole)), "V", channel
        )
        for channel in capture.channels
    ]


# ---------------------------------------------------------------------------------------------------------------------
# Burst


def burst(captures: Captures, readings: Readings, context: BurstContext) -> list[Figure]:
    """Burst power at clean drive and at full drive, with droop, supply draw and efficiency; each with its cycles.

    Either capture may be absent, and then its figures are.
    """
    figures: list[Figure] = []
    if "clean" in captures:
        figures += from_capture(_clean_figures(captures["clean"], context), captures["clean"].name)
    if "full" in captures:
        figures += from_capture(_full_figures(captures["full"], context), captures["full"].name)
    if not figures:
        raise MeasurementError("a burst has neither a capture at clean drive nor one at full drive")
    return [_of_burst(figure, context.cycles) for figure in figures + _heatsink(readings, context)]


def _of_burst(figure: Figure, cycles: int) -> Figure:
    from dataclasses import replace

    return replace(figure, burst_cycles=cycles)


def burst_tables(capture: Capture, context: BurstContext) -> dict[str, CycleTable]:
    """Channel -> its cycles, for every channel that has a load and a record."""
    channels = _channels(capture, context)
    return {
        channel: cycle_table(capture, OUTPUT + channel, _burst(capture, channel, context), context.band_hz)
        for channel in channels
    }


def _burst(capture: Capture, channel: str, context: BurstContext) -> Burst:
    return find_burst(capture, OUTPUT + channel, context.frequency_hz, context.cycles, context.low_level_ratio)


def _channels(capture: Capture, context: ContinuousContext) -> tuple[str, ...]:
    channels = tuple(channel for channel in capture.channels if channel in context.loads)
    if not channels:
        raise MeasurementError(f"no channel in capture '{capture.name}' has a load")
    return channels


def _clean_figures(capture: Capture, context: BurstContext) -> list[Figure]:
    tables = burst_tables(capture, context)
    powers = _cycle_powers(capture, tables, context)
    figures = _power_figures("burst_power_clean", powers, _lowest, context)
    return figures + [_distortion_figure("thd_n", table.worst.thd_n, channel) for channel, table in tables.items()]


def _full_figures(capture: Capture, context: BurstContext) -> list[Figure]:
    tables = burst_tables(capture, context)
    powers = _cycle_powers(capture, tables, context)
    figures: list[Figure] = []
    for name, choose in (("first", _first), ("highest", _highest), ("lowest", _lowest), ("last", _last)):
        figures += _power_figures(f"burst_power_{name}", powers, choose, context)
    return figures + _burst_voltages(capture, tables, context) + _burst_supply(capture, context)


_CyclePowers = Mapping[str, Sequence[UFloat]]


def _cycle_powers(capture: Capture, tables: Mapping[str, CycleTable], context: BurstContext) -> _CyclePowers:
    """Channel -> power of each cycle in W, all with the same errors of oscilloscope, probe and load."""
    bench = _Bench(capture, context)
    powers = {}
    for channel, table in tables.items():
        error, load = bench.error(OUTPUT + channel), context.loads[channel].resistance()
        powers[channel] = [load_power(error.on(cycle.rms), load) for cycle in table.cycles]
    return powers


def _power_figures(
    name: str, powers: _CyclePowers, choose: Callable[[Sequence[UFloat]], int], context: BurstContext
) -> list[Figure]:
    """The chosen cycle's power of each channel, and of all together: the cycle chosen by its total."""
    totals = [sum(row) for row in zip(*powers.values(), strict=True)]
    if context.bridged:
        return [
            figure_of(name, power, "W", channel)
            for channel, power in by_channel({"A": totals[choose(totals)]}, bridged=True).items()
        ]
    chosen = {channel: row[choose(row)] for channel, row in powers.items()} | {TOTAL: totals[choose(totals)]}
    return [figure_of(name, power, "W", channel) for channel, power in chosen.items()]


def _first(_: Sequence[UFloat]) -> int:
    return 0


def _last(row: Sequence[UFloat]) -> int:
    return len(row) - 1


def _lowest(row: Sequence[UFloat]) -> int:
    return min(range(len(row)), key=lambda number: float(row[number].nominal_value))


def _highest(row: Sequence[UFloat]) -> int:
    return max(range(len(row)), key=lambda number: float(row[number].nominal_value))


def _burst_voltages(capture: Capture, tables: Mapping[str, CycleTable], context: BurstContext) -> list[Figure]:
    """output_peak, output_rms and droop of each channel."""
    bench = _Bench(capture, context)
    figures = []
    for channel, table in tables.items():
        error = bench.error(OUTPUT + channel)
        peak = max(max(cycle.positive_peak, -cycle.negative_peak) for cycle in table.cycles)
        rms = math.sqrt(sum(cycle.rms**2 for cycle in table.cycles) / len(table.cycles))
        figures.append(figure_of("output_peak", error.on(peak), "V", channel))
        figures.append(figure_of("output_rms", error.on(rms), "V", channel))
        if len(table.cycles) > 1:
            figures.append(figure_of("droop", exactly(_droop(table.cycles)), "1", channel))
    return figures


def _droop(cycles: Sequence[Cycle]) -> float:
    """By what part the peak of the last cycle is below that of the first."""
    return 1.0 - cycles[-1].peak / cycles[0].peak


def _burst_supply(capture: Capture, context: BurstContext) -> list[Figure]:
    span = whole_repetitions(capture, context.every_s)
    bench = _Bench(capture, context)
    return _supply_figures(bench, span) + _efficiency(bench, span, context)


def _supply_figures(bench: _Bench, span: Span) -> list[Figure]:
    capture, figures = bench.capture, []
    if SUPPLY_CURRENT in capture.traces:
        trace, error = capture.trace(SUPPLY_CURRENT), bench.error(SUPPLY_CURRENT)
        _, highest = extremes(trace, span, capture.interval_s)
        figures.append(figure_of("supply_current", error.on(mean(trace, span)), "A"))
        figures.append(figure_of("supply_current_peak", error.on(highest), "A"))
    if SUPPLY_VOLTAGE in capture.traces:
        trace, error = capture.trace(SUPPLY_VOLTAGE), bench.error(SUPPLY_VOLTAGE)
        lowest, _ = extremes(trace, span, capture.interval_s)
        figures.append(figure_of("supply_voltage", error.on(mean(trace, span)), "V"))
        figures.append(figure_of("supply_voltage_lowest", error.on(lowest), "V"))
    return figures


def _input_power(bench: _Bench, span: Span) -> UFloat | None:
    """Mean of v * i at the supply over the span, in W; None where one of the two was not captured."""
    capture = bench.capture
    if not {SUPPLY_CURRENT, SUPPLY_VOLTAGE} <= capture.traces.keys():
        return None
    voltage, current = capture.trace(SUPPLY_VOLTAGE), capture.trace(SUPPLY_CURRENT)
    gains = bench.error(SUPPLY_VOLTAGE).factor(mean(voltage, span)) * bench.error(SUPPLY_CURRENT).factor(
        mean(current, span)
    )
    return gains * mean_product(voltage, current, span)


def _output_power(bench: _Bench, span: Span, context: ContinuousContext) -> UFloat | None:
    """Sum of the mean output powers over the span, in W; None where a loaded channel was not captured."""
    capture = bench.capture
    if not set(context.loads) <= set(capture.channels):
        return None
    powers = []
    for channel, load in context.loads.items():
        rms = math.sqrt(mean_square(capture.trace(OUTPUT + channel), span))
        powers.append(load_power(bench.error(OUTPUT + channel).on(rms), load.resistance()))
    return sum(powers)


def _efficiency(bench: _Bench, span: Span, context: ContinuousContext) -> list[Figure]:
    """Energy into the loads over energy from the supply, across the same whole repetitions or cycles."""
    output, supply = _output_power(bench, span, context), _input_power(bench, span)
    if output is None or supply is None:
        return []
    return [figure_of("efficiency", output / supply, "1")]


def _distortion_figure(name: str, distortion: Distortion, channel: str) -> Figure:
    if distortion.is_bound:
        return Figure(name, distortion.ratio, "1", channel=channel, bound="at most")
    # The floor adds to the residual in quadrature: this much of it may be the record's own.
    half_width = distortion.floor**2 / distortion.ratio
    return figure_of(name, exactly(distortion.ratio) + ErrorOf(()).on(0.0) + _own(half_width), "1", channel)


def _own(half_width: float) -> UFloat:
    from benchctl.measure.uncertainty import rectangular

    return rectangular(0.0, half_width)


# ---------------------------------------------------------------------------------------------------------------------
# Continuous


def continuous(captures: Captures, readings: Readings, context: ContinuousContext) -> list[Figure]:
    """Power, voltages and distortion of a steady tone, supply draw, efficiency."""
    if "continuous" not in captures:
        raise MeasurementError("no capture of the continuous tone was taken")
    capture = captures["continuous"]
    bench = _Bench(capture, context)
    span = _whole_cycles(capture, context.frequency_hz)
    figures = _continuous_powers(bench, span, context)
    for channel in _channels(capture, context):
        figures += _tone_figures(bench, span, channel, context)
    figures += _supply_figures(bench, span) + _efficiency(bench, span, context)
    figures = from_capture(figures, capture.name)
    return figures + _heatsink(readings, context)


def _whole_cycles(capture: Capture, frequency_hz: float) -> Span:
    cycles = math.floor(capture.duration_s * frequency_hz + 1e-6)
    return Span(0, min(round(cycles / (frequency_hz * capture.interval_s)), capture.samples))


def _continuous_powers(bench: _Bench, span: Span, context: ContinuousContext) -> list[Figure]:
    powers = {}
    for channel in _channels(bench.capture, context):
        rms = math.sqrt(mean_square(bench.capture.trace(OUTPUT + channel), span))
        powers[channel] = load_power(bench.error(OUTPUT + channel).on(rms), context.loads[channel].resistance())
    return [
        figure_of("continuous_power", power, "W", channel)
        for channel, power in by_channel(powers, bridged=context.bridged).items()
    ]


def _tone_figures(bench: _Bench, span: Span, channel: str, context: ContinuousContext) -> list[Figure]:
    trace, error = bench.capture.trace(OUTPUT + channel), bench.error(OUTPUT + channel)
    values = trace.values()
    tone = tone_spectrum(values, bench.capture.interval_s, context.frequency_hz)
    rms = math.sqrt(mean_square(trace, span))
    peak = max(float(values.max()), -float(values.min()))
    return [
        figure_of("output_rms", error.on(rms), "V", channel),
        figure_of("output_peak", error.on(peak), "V", channel),
        figure_of("crest_factor", exactly(peak / rms), "1", channel),
        _distortion_figure("thd_n", noise_and_distortion(tone, context.band_hz, trace.step), channel),
        _distortion_figure("thd", harmonic_distortion(tone, context.band_hz, trace.step), channel),
    ]


# ---------------------------------------------------------------------------------------------------------------------
# What the search for a level asks after each exposure


def worst_cycle_distortion(capture: Capture, context: BurstContext) -> Distortion:
    """THD+N of the worst whole cycle of the burst at any channel: what clean drive is held to."""
    return _worst(table.worst.thd_n for table in burst_tables(capture, context).values())


def first_cycle_distortion(capture: Capture, context: BurstContext) -> Distortion:
    """THD+N of the first whole cycle of the burst, at the worst channel: what full drive is set by."""
    return _worst(table.cycles[0].thd_n for table in burst_tables(capture, context).values())


def steady_distortion(capture: Capture, context: ContinuousContext) -> Distortion:
    """THD+N of a steady tone at the worst channel."""
    distortions = []
    for channel in _channels(capture, context):
        trace = capture.trace(OUTPUT + channel)
        tone = tone_spectrum(trace.values(), capture.interval_s, context.frequency_hz)
        distortions.append(noise_and_distortion(tone, context.band_hz, trace.step))
    return _worst(distortions)


def _worst(distortions: Any) -> Distortion:
    worst: Distortion = max(distortions, key=lambda distortion: distortion.ratio)
    return worst


# ---------------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Analysis:
    """A pure function of captures, readings and context, and the type of that context."""

    figures: Callable[[Captures, Readings, Any], list[Figure]]
    context: type[IdleContext]


ANALYSES: Mapping[str, Analysis] = {
    "idle": Analysis(idle, IdleContext),
    "burst": Analysis(burst, BurstContext),
    "continuous": Analysis(continuous, ContinuousContext),
}
