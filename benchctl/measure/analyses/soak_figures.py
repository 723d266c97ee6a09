"""Figures of a long drive: mean power and draw, what they drifted by, and where the heatsink will end."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from uncertainties import UFloat

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.held_figures import held_figures
from benchctl.measure.analyses.supply_figures import ampere_figures, efficiency_figures, output_power
from benchctl.measure.analyses.supply_voltages import TERMINALS, with_read_voltages
from benchctl.measure.analyses.warming import TIME, WarmingContext, warming
from benchctl.measure.budget.figure import Figure, figure_of, from_capture
from benchctl.measure.budget.linearity import on_ratio
from benchctl.measure.budget.meters import Meters, Readings
from benchctl.measure.budget.power import by_channel
from benchctl.measure.budget.resolution import mean_as_shown
from benchctl.measure.budget.signals import Signals
from benchctl.measure.carrier.low_pass import low_passed
from benchctl.measure.signal.distortion import BAND_HZ
from benchctl.measure.signal.peaks import Blur, Peak, half_span, lowest_and_highest, missed_by_samples, sample_noise
from benchctl.measure.signal.record import OUTPUT, SUPPLY_CURRENT, SUPPLY_VOLTAGE, Capture, Trace
from benchctl.measure.signal.supply import Span, mean_square, whole_cycles, whole_repetitions
from benchctl.measure.uncertainty import COVERAGE_FACTOR, ErrorOf, LoadResistance, exactly, measured, rectangular

FIRST, LAST = "first", "last"
_OF_SUPPLY = ("supply_voltage", "supply_current", TERMINALS)
_NOISE_SAMPLES = 1 << 15  # enough to know the noise of a sample, which is alike all along a record
_END_PART = 0.1  # of the readings at either end, whose means tell a drift
_UNKNOWN_RISE_K = 150.0  # as for a load resistor whose temperature nobody measured


@dataclass(frozen=True, kw_only=True)
class SoakContext(WarmingContext):
    """A tone of `frequency_hz`, or bursts of it that repeat every `every_s`.

    `first_loads`, `loads`: amplifier channel -> load, as warm as it was at the beginning and at the end. `fuse_a`: the
    rating of the fuse in the supply lead. `low_pass_hz`: as of a steady tone. `heatsink_k_per_w`,
    `heatsink_time_constant_s`: what the amplifier file says of the heatsink. `is_cut_short`: it ended before its time
    because nothing watched the heatsink.
    """

    frequency_hz: float
    first_loads: Mapping[str, LoadResistance]
    loads: Mapping[str, LoadResistance]
    every_s: float | None = None
    low_pass_hz: float | None = None
    fuse_a: float | None = None
    heatsink_k_per_w: float | None = None
    heatsink_time_constant_s: float = 500.0
    is_cut_short: bool = False
    band_hz: float = BAND_HZ


def soak(captures: Mapping[str, Capture], readings: Readings, context: SoakContext) -> list[Figure]:
    """Captures "first" and "last", the latter absent where the amplifier fell silent before, and of a steady tone those
    between them, by any name; readings time, heatsink, supply_current and supply_voltage, taken together, and ambient.

    Gives soak_time, of a steady tone held_power and held_thd_n per channel and held_supply_voltage, average_power per
    channel and total, power_drift per channel, efficiency, watts_per_ampere, supply_current, supply_current_drift,
    supply_voltage, supply_output_voltage, fuse_load (rms current over the fuse's rating), heatsink_temperature,
    final_heatsink_temperature, heatsink_time_constant and ambient_temperature, the lowest, as far as there is what they
    need; under bursts also crest_factor per channel.

    Raises:
        MeasurementError: there is no record, or there are no readings.
    """
    if FIRST not in captures or not readings.get(TIME):
        raise MeasurementError("a soak needs a record from its beginning, and readings")
    end = captures.get(LAST, captures[FIRST])
    figures = [_lasted(float(readings[TIME][-1]), is_cut_short=context.is_cut_short and LAST in captures)]
    figures += from_capture(_power_figures(end, context), end.name)
    if LAST in captures:
        both = (captures[FIRST].name, end.name)
        figures += from_capture(_drift_figures(captures[FIRST], end, context), *both)
    if context.every_s is None:
        loads = {name: _through(context.first_loads[name], load) for name, load in context.loads.items()}
        held = captures.values()
        switching = context.low_pass_hz is not None
        chains = context.accuracy
        figures += held_figures(held, context.frequency_hz, chains, loads, context.band_hz, switching=switching)
    figures += _supply_figures(captures, readings, context)
    figures += _fuse_figures(end, context)
    return figures + _thermal_figures(captures, readings, context) + _coldest_air(readings, context)


def _through(first: LoadResistance, last: LoadResistance) -> LoadResistance:
    """A resistor all through the drive: as warm as at its beginning, at its end or between them."""
    if first.temperature_c is None or last.temperature_c is None:
        return last
    middle_c, half_k = (
        (first.temperature_c + last.temperature_c) / 2.0,
        abs(last.temperature_c - first.temperature_c) / 2.0,
    )
    spread_k = math.hypot(last.temperature_uncertainty_k, half_k / math.sqrt(3.0))
    return replace(last, temperature_c=middle_c, temperature_uncertainty_k=spread_k)


def _coldest_air(readings: Readings, context: SoakContext) -> list[Figure]:
    """The lowest reading of the air around the bench, which rules ask to be warm enough all the time."""
    values = [value for value in readings.get("ambient", ()) if math.isfinite(value)]
    if not values:
        return []
    chain = ErrorOf(context.readings_accuracy.get("ambient", ()))
    return [figure_of("ambient_temperature", chain.on(min(values)), "degC")]


def _lasted(seconds: float, *, is_cut_short: bool) -> Figure:
    """How long the drive lasted; where it was cut short the amplifier would have borne it for at least so long."""
    if is_cut_short:
        return Figure("soak_time", seconds, "s", bound="at least")
    return figure_of("soak_time", exactly(seconds), "s")


def _power_figures(capture: Capture, context: SoakContext) -> list[Figure]:
    loads = context.loads
    heard = low_passed(capture, context.low_pass_hz)
    signals, span = Signals(heard, context.accuracy, loads), span_of(capture, context)
    powers = {channel: signals.mean_power(channel, span) for channel in signals.channels}
    shares = by_channel(powers, is_every_load=signals.has_every_load)
    figures = [figure_of("average_power", power, "W", channel) for channel, power in shares.items()]
    output_w = output_power(signals, span)
    figures += efficiency_figures(output_w, signals.supply_power(span))
    if signals.has(SUPPLY_CURRENT):
        figures += ampere_figures(output_w, signals.mean(SUPPLY_CURRENT, span))
    return figures if context.every_s is None else figures + _crest_figures(signals, span, context.frequency_hz)


def _crest_figures(signals: Signals, span: Span, frequency_hz: float) -> list[Figure]:
    """Peak over RMS of each output, from its samples; what the chain does to both cancels but for its zero."""
    figures = []
    for channel in signals.channels:
        signal = OUTPUT + channel
        rms = signals.rms(signal, span)
        missed = math.sqrt(2.0) * float(rms.nominal_value) * _missed_part(signals.capture, frequency_hz)
        half = _half_span(signals.capture.trace(signal), span, missed)
        figures.append(
            figure_of("crest_factor", signals.on_difference(signal, half.value, half.uncertainty) / rms, "1", channel)
        )
    return figures


def _missed_part(capture: Capture, frequency_hz: float) -> float:
    """By what part samples may miss the top of a sine at most: 1 - cos(pi f T), T being the interval."""
    return 1.0 - math.cos(math.pi * frequency_hz * capture.interval_s)


def _half_span(trace: Trace, span: Span, missed: float) -> Peak:
    """Half of peak to peak; samples may miss either peak by so much."""
    values = trace.values(span.start, span.stop)
    lowest, highest = lowest_and_highest(values, Blur.of_samples(sample_noise(values[:_NOISE_SAMPLES]), trace.step))
    by = missed_by_samples(missed)
    return half_span(lowest, highest).moved(by.value, by.uncertainty)


def burst_duty(crest_factor: float, low_level_ratio: float) -> float:
    """The part d of the time that bursts of a sine must take so that the whole has a crest factor C.

    Mean square over squared peak is 1/C^2 = (d + r^2 (1 - d)) / 2, with the rest r times as strong as the burst; hence
    d = (2/C^2 - r^2) / (1 - r^2).

    Raises:
        MeasurementError: no part does: the crest factor is a sine's or less, or the rest alone is too strong.
    """
    rest = low_level_ratio**2
    duty = (2.0 / crest_factor**2 - rest) / (1.0 - rest)
    if not 0.0 < duty < 1.0:
        raise MeasurementError(
            f"no bursts over a rest of {low_level_ratio:.4g} of their level have a crest factor of {crest_factor:.4g}"
        )
    return duty


def span_of(capture: Capture, context: SoakContext) -> Span:
    """Whole cycles of a tone, whole repetitions of bursts."""
    if context.every_s is not None:
        return whole_repetitions(capture, context.every_s)
    return whole_cycles(capture, context.frequency_hz)


def _drift_figures(first: Capture, last: Capture, context: SoakContext) -> list[Figure]:
    """By what part the power of each channel rose; what one chain and one resistor do to both records cancels."""
    figures = []
    for channel in Signals(last, {}, context.loads).channels:
        ratio = _ratio(first, last, channel, context)
        power = ratio * ratio * _resistance_ratio(context.first_loads[channel], context.loads[channel])
        figures.append(figure_of("power_drift", power - 1.0, "1", channel))
    return figures


def _ratio(first: Capture, last: Capture, channel: str, context: SoakContext) -> UFloat:
    """The last RMS voltage over the first."""
    before, after = (_rms_v(capture, channel, context) for capture in (first, last))
    amplitudes = math.sqrt(2.0) * before.nominal_value, math.sqrt(2.0) * after.nominal_value
    traces = first.trace(OUTPUT + channel), last.trace(OUTPUT + channel)
    return on_ratio(after / before, amplitudes, traces, context.accuracy.get(OUTPUT + channel, ()))


def _rms_v(capture: Capture, channel: str, context: SoakContext) -> UFloat:
    """RMS with no uncertainty but its scatter from cycle to cycle, and rounding."""
    span, trace = span_of(capture, context), capture.trace(OUTPUT + channel)
    cycles = round(span.samples * capture.interval_s * context.frequency_hz)
    by_cycle = Span(span.start, span.stop, cycles if context.every_s is None else 1)
    rounding = measured(0.0, trace.step / math.sqrt(12.0 * span.samples))
    return Signals(capture, {}).rms(OUTPUT + channel, by_cycle) + rounding


def _resistance_ratio(first: LoadResistance, last: LoadResistance) -> UFloat:
    """R(first) / R(last) of one resistor, which differs by its temperatures alone."""
    own_per_k = first.temperature_coefficient_uncertainty_per_k / COVERAGE_FACTOR
    alpha = measured(first.temperature_coefficient_per_k, own_per_k, "temperature coefficient of the load")
    if first.temperature_c is None or last.temperature_c is None:
        return 1.0 / (1.0 + alpha * rectangular(_UNKNOWN_RISE_K / 2.0, _UNKNOWN_RISE_K / 2.0))
    # One thermometer reads both, so its error all but cancels in their difference.
    return 1.0 / (exactly(1.0) + alpha * (last.temperature_c - first.temperature_c))


def _supply_figures(captures: Mapping[str, Capture], readings: Readings, context: SoakContext) -> list[Figure]:
    """Voltage by the supply's readings, and at the amplifier's terminals by the last record. Current by the readings as
    well for a steady tone; under bursts it comes and goes between readings, so records of whole repetitions tell it
    better, where there are any."""
    figures = _voltage_figures(captures, readings, context)
    recorded = [captures[role] for role in (FIRST, LAST) if role in captures]
    if context.every_s is None or any(SUPPLY_CURRENT not in capture.traces for capture in recorded):
        return figures + _read_figures("supply_current", "A", readings, context)
    means = [Signals(capture, context.accuracy).mean(SUPPLY_CURRENT, span_of(capture, context)) for capture in recorded]
    return figures + from_capture([figure_of("supply_current", means[-1], "A")], recorded[-1].name)


def _voltage_figures(captures: Mapping[str, Capture], readings: Readings, context: SoakContext) -> list[Figure]:
    end, figures = captures.get(LAST, captures[FIRST]), list[Figure]()
    if SUPPLY_VOLTAGE in end.traces:
        mean_v = Signals(end, context.accuracy).mean(SUPPLY_VOLTAGE, span_of(end, context))
        figures = from_capture([figure_of("supply_voltage", mean_v, "V")], end.name)
    readable = {name: [value for value in readings.get(name, ()) if math.isfinite(value)] for name in _OF_SUPPLY}
    return with_read_voltages(figures, Meters(readable, context.readings_accuracy), context)


def _read_figures(name: str, unit: str, readings: Readings, context: SoakContext) -> list[Figure]:
    """The mean of all readings, and for the current how much the last tenth of them is above the first."""
    values = [value for value in readings.get(name, ()) if math.isfinite(value)]
    if not values:
        return []
    accuracies = context.readings_accuracy.get(name, ())
    chain = ErrorOf(accuracies)
    figures = [figure_of(name, chain.on(mean_as_shown(values, accuracies)), unit)]
    if name == "supply_current":
        edge = max(math.ceil(_END_PART * len(values)), 1)
        drift = chain.on(mean_as_shown(values[-edge:], accuracies)) - chain.on(mean_as_shown(values[:edge], accuracies))
        figures.append(figure_of("supply_current_drift", drift, unit))
    return figures


def _fuse_figures(capture: Capture, context: SoakContext) -> list[Figure]:
    """RMS current, which is what warms a fuse, over its rating; none where the current was not captured."""
    if context.fuse_a is None or SUPPLY_CURRENT not in capture.traces:
        return []
    trace = capture.trace(SUPPLY_CURRENT)
    rms_a = math.sqrt(mean_square(trace, span_of(capture, context)))
    chain = ErrorOf(context.accuracy.get(SUPPLY_CURRENT, ()), trace.full_scale, trace.zero_limit)
    load = chain.on(measured(rms_a, 0.0)) / context.fuse_a
    return from_capture([figure_of("fuse_load", load, "1")], capture.name)


def _thermal_figures(captures: Mapping[str, Capture], readings: Readings, context: SoakContext) -> list[Figure]:
    """None, rather than no figures at all, where the heatsink was read too seldom to predict anything."""
    try:
        return warming(captures, readings, context)
    except MeasurementError:
        return []
