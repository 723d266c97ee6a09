"""What the amplifier draws, and what part of it reaches the loads: figures of one capture over whole repetitions."""

from __future__ import annotations

from dataclasses import replace

from uncertainties import UFloat

from benchctl.measure.budget.figure import Figure, as_bound, figure_of
from benchctl.measure.budget.signals import Signals
from benchctl.measure.rounding.alike import left_of_mean
from benchctl.measure.signal.record import SUPPLY_CURRENT, SUPPLY_VOLTAGE, Capture
from benchctl.measure.signal.supply import Span, at_rest
from benchctl.measure.uncertainty import COVERAGE_FACTOR, measured


def supply_figures(signals: Signals, span: Span, read_a: UFloat | None = None) -> list[Figure]:
    """Mean and peak supply current; mean, lowest and sag of the supply voltage, as far as they were captured.

    Where another instrument knows the mean current better (`read_a`), the peak is that mean and what the record rises
    above its own: of two instruments, the peak of one may well be less than the mean of the other. The sag is from the
    highest to the lowest voltage, of the same probe: its error cancels but for the step. A sag that is no more than the
    oscilloscope's noise and steps may make of a steady voltage is a bound.
    """
    figures = []
    if signals.has(SUPPLY_CURRENT):
        _, highest = signals.extremes(SUPPLY_CURRENT, span)
        peak = highest if read_a is None else read_a + signals.highest_above_mean(SUPPLY_CURRENT, span)
        figures.append(figure_of("supply_current", signals.mean(SUPPLY_CURRENT, span), "A"))
        figures.append(figure_of("supply_current_peak", peak, "A"))
    if signals.has(SUPPLY_VOLTAGE):
        lowest, highest = signals.extremes(SUPPLY_VOLTAGE, span)
        figures.append(figure_of("supply_voltage", signals.mean(SUPPLY_VOLTAGE, span), "V"))
        figures.append(figure_of("supply_voltage_lowest", lowest, "V"))
        figures.append(_sag(highest - lowest))
    return figures


def _sag(sag_v: UFloat) -> Figure:
    """A value where it stands clear of its U. At U itself one steady voltage in twenty would seem to sag: what is to be
    told from nothing must be twice as much as what nothing shows (Currie, Anal. Chem. 40, 1968, from memory)."""
    figure = figure_of("supply_voltage_sag", sag_v, "V")
    if figure.value > 2.0 * (figure.expanded_uncertainty or 0.0):
        return figure
    # No voltage sags by less than nothing, whatever was taken off for noise.
    least = replace(figure, value=max(figure.value, 0.0))
    return as_bound(least, "at most", "it is no more than the noise and the steps of the oscilloscope")


def efficiency_figures(output_w: UFloat | None, supply_w: UFloat | None) -> list[Figure]:
    """Energy into the loads over energy from the supply across the same span; none where one of them is not known."""
    if output_w is None or supply_w is None:
        return []
    return [figure_of("efficiency", output_w / supply_w, "1")]


def marginal_figures(output_w: UFloat | None, signals: Signals, span: Span, rest: Capture | None) -> list[Figure]:
    """Energy of a steady drive into the loads over what the supply gives beyond its power at rest, by a record `rest`
    of the undriven amplifier. None where a part of that was not captured.
    """
    supply_w = signals.supply_power(span)
    if output_w is None or supply_w is None or rest is None:
        return []
    undriven, whole = signals.at_another_time(rest), at_rest(rest)
    at_rest_w = undriven.supply_power(whole)
    if at_rest_w is None:
        return []
    return _marginal(output_w, supply_w - at_rest_w + _hidden_by_steps(undriven, whole))


def marginal_burst_figures(signals: Signals, span: Span, pause: Span) -> list[Figure]:
    """What a burst adds at the loads over what it adds at the supply, its recharge included: both over whole
    repetitions, less what goes on in the `pause`, a part of the same record in which all has come to rest.

    What is alike in burst and pause cancels: errors of zero, and the power of the level between bursts.
    """
    supply_w, output_w = signals.supply_power(span), output_power(signals, span)
    paused_w, quiet_w = signals.supply_power(pause), output_power(signals, pause)
    if supply_w is None or output_w is None or paused_w is None or quiet_w is None:
        return []
    # Steps hide the same of the pause in both; of the rest of the span they may hide something else.
    hidden_w = _hidden_by_steps(signals, pause) * (1.0 - pause.samples / span.samples)
    return _marginal(output_w - quiet_w, supply_w - paused_w + hidden_w)


def _hidden_by_steps(signals: Signals, span: Span) -> UFloat:
    """Nothing, with what a converter's steps may hide of the power of an even current."""
    trace = signals.capture.trace(SUPPLY_CURRENT)
    hidden_a = trace.step * left_of_mean(trace.steps(span.start, span.stop))
    voltage_v = float(signals.mean(SUPPLY_VOLTAGE, span).nominal_value)
    return measured(0.0, abs(voltage_v) * hidden_a)


def _marginal(output_w: UFloat, supply_w: UFloat) -> list[Figure]:
    """None where the supply gives no more than can be told from nothing."""
    if supply_w.nominal_value <= COVERAGE_FACTOR * supply_w.std_dev:
        return []
    return [figure_of("marginal_efficiency", output_w / supply_w, "1")]


def ampere_figures(output_w: UFloat | None, supply_a: UFloat | None) -> list[Figure]:
    """Output power of all channels over the mean supply current."""
    if output_w is None or supply_a is None or supply_a.nominal_value <= COVERAGE_FACTOR * supply_a.std_dev:
        return []
    return [figure_of("watts_per_ampere", output_w / supply_a, "W/A")]


def output_power(signals: Signals, span: Span) -> UFloat | None:
    """Sum of the channels' mean powers in W; None where a load's voltage was not captured."""
    if not signals.has_every_load:
        return None
    return sum(signals.mean_power(channel, span) for channel in signals.channels)
