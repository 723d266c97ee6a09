"""When, how warm and how far an amplifier turned its own gain down under a drive that did not change."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from uncertainties import UFloat

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.protection_figures import BEFORE, ProtectionContext
from benchctl.measure.budget.figure import Figure, figure_of, from_capture
from benchctl.measure.budget.linearity import on_ratio
from benchctl.measure.budget.meters import Meters, Readings
from benchctl.measure.budget.power import by_channel
from benchctl.measure.budget.signals import Signals
from benchctl.measure.signal.record import OUTPUT, Capture
from benchctl.measure.signal.supply import Span, whole_cycles, whole_repetitions

FOLDED = "folded"


@dataclass(frozen=True, kw_only=True)
class FoldBackContext(ProtectionContext):
    """The drive under which the amplifier folded back, as for one that fell silent."""


def fold_back(captures: Mapping[str, Capture], readings: Readings, context: FoldBackContext) -> list[Figure]:
    """Captures "before", of the amplifier at its full gain, and "folded"; readings heatsink, taken with the latter.

    Gives fold_back_time (s under drive), fold_back_gain per channel (over its gain before), fold_back_power per channel
    and total (what is left), and fold_back_temperature.

    Raises:
        MeasurementError: one of the records is missing.
    """
    if not {BEFORE, FOLDED} <= set(captures):
        raise MeasurementError("a fold-back needs a record from before it and one of it")
    before, folded = captures[BEFORE], captures[FOLDED]
    figures = [Figure("fold_back_time", context.driven_s, "s")]
    figures += from_capture(_gain_figures(before, folded, context), before.name, folded.name)
    figures += from_capture(_power_figures(folded, context), folded.name)
    return figures + Meters(readings, context.readings_accuracy).figures("fold_back_temperature", "heatsink", "degC")


def _gain_figures(before: Capture, folded: Capture, context: FoldBackContext) -> list[Figure]:
    """Each record's scatter and the chain's linearity alone count: one chain reads both, and its gain cancels."""
    return [
        figure_of("fold_back_gain", _gain(before, folded, channel, context), "1", channel)
        for channel in folded.channels
    ]


def _gain(before: Capture, folded: Capture, channel: str, context: FoldBackContext) -> UFloat:
    signal = OUTPUT + channel
    first, last = (Signals(capture, {}).rms(signal, _span(capture, context)) for capture in (before, folded))
    amplitudes = math.sqrt(2.0) * first.nominal_value, math.sqrt(2.0) * last.nominal_value
    return on_ratio(
        last / first, amplitudes, (before.trace(signal), folded.trace(signal)), context.accuracy.get(signal, ())
    )


def _power_figures(folded: Capture, context: FoldBackContext) -> list[Figure]:
    signals, span = Signals(folded, context.accuracy, context.loads), _span(folded, context)
    powers = by_channel(
        {channel: signals.mean_power(channel, span) for channel in signals.channels},
        is_every_load=signals.has_every_load,
    )
    return [figure_of("fold_back_power", power, "W", channel) for channel, power in powers.items()]


def _span(capture: Capture, context: FoldBackContext) -> Span:
    if context.every_s is None:
        return whole_cycles(capture, context.frequency_hz)
    return whole_repetitions(capture, context.every_s)
