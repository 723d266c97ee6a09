"""What the amplifier draws, and what part of it reaches the loads: figures of one capture over whole repetitions."""

from __future__ import annotations

from uncertainties import UFloat

from benchctl.measure.budget.figure import Figure, figure_of
from benchctl.measure.budget.signals import Signals
from benchctl.measure.signal.record import SUPPLY_CURRENT, SUPPLY_VOLTAGE
from benchctl.measure.signal.supply import Span


def supply_figures(signals: Signals, span: Span, read_a: UFloat | None = None) -> list[Figure]:
    """Mean and peak supply current; mean, lowest and sag of the supply voltage, as far as they were captured.

    Where another instrument knows the mean current better (`read_a`), the peak is that mean and what the record rises
    above its own: of two instruments, the peak of one may well be less than the mean of the other. The sag is from the
    highest to the lowest voltage, of the same probe: its error cancels but for the step.
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
        figures.append(figure_of("supply_voltage_sag", highest - lowest, "V"))
    return figures


def efficiency_figures(output_w: UFloat | None, supply_w: UFloat | None) -> list[Figure]:
    """Energy into the loads over energy from the supply across the same span; none where one of them is not known."""
    if output_w is None or supply_w is None:
        return []
    return [figure_of("efficiency", output_w / supply_w, "1")]


def output_power(signals: Signals, span: Span) -> UFloat | None:
    """Sum of the channels' mean powers in W; None where a load's voltage was not captured."""
    if not signals.has_every_load:
        return None
    return sum(signals.mean_power(channel, span) for channel in signals.channels)
