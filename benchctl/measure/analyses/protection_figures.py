"""At what power, temperature and voltage the amplifier's own protection silenced it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.context import ContinuousContext
from benchctl.measure.budget.figure import Figure, figure_of, from_capture
from benchctl.measure.budget.meters import Meters, Readings
from benchctl.measure.budget.power import by_channel
from benchctl.measure.budget.signals import Signals
from benchctl.measure.signal.record import OUTPUT, Capture
from benchctl.measure.signal.supply import Span, whole_cycles, whole_repetitions

BEFORE, SILENT = "before", "silent"


@dataclass(frozen=True, kw_only=True)
class ProtectionContext(ContinuousContext):
    """The drive under which the amplifier fell silent: `level_v` RMS at its input, for `driven_s` by then; bursts
    that repeat every `every_s`, or a steady tone."""

    level_v: float
    driven_s: float
    every_s: float | None = None


def protection(captures: Mapping[str, Capture], readings: Readings, context: ProtectionContext) -> list[Figure]:
    """Captures "silent", and "before" where there is one of the amplifier still at work; readings heatsink,
    supply_voltage and supply_current, taken when the silence was noticed.

    Gives protection_level (V at the input), protection_time (s under drive), protection_power per channel and total,
    protection_temperature, protection_supply_voltage, protection_supply_current, and protection_output per channel:
    the RMS that is left.

    Raises:
        MeasurementError: there is no record of the silence.
    """
    if SILENT not in captures:
        raise MeasurementError("no record of the silent output was taken")
    silent = captures[SILENT]
    figures = [
        Figure("protection_level", context.level_v, "V"),
        Figure("protection_time", context.driven_s, "s"),
        *from_capture(_rest_figures(silent, context), silent.name),
    ]
    if BEFORE in captures:
        figures += from_capture(_power_figures(captures[BEFORE], context), captures[BEFORE].name)
    meters = Meters(readings, context.readings_accuracy)
    figures += meters.figures("protection_temperature", "heatsink", "degC")
    figures += meters.figures("protection_supply_voltage", "supply_voltage", "V")
    return figures + meters.figures("protection_supply_current", "supply_current", "A")


def _rest_figures(silent: Capture, context: ProtectionContext) -> list[Figure]:
    signals, whole = Signals(silent, context.accuracy), Span(0, silent.samples)
    return [
        figure_of("protection_output", signals.rms(OUTPUT + channel, whole), "V", channel)
        for channel in silent.channels
    ]


def _power_figures(before: Capture, context: ProtectionContext) -> list[Figure]:
    signals = Signals(before, context.accuracy, context.loads)
    every_s = context.every_s
    span = whole_cycles(before, context.frequency_hz) if every_s is None else whole_repetitions(before, every_s)
    powers = by_channel(
        {channel: signals.mean_power(channel, span) for channel in signals.channels},
        is_every_load=signals.has_every_load,
    )
    return [figure_of("protection_power", power, "W", channel) for channel, power in powers.items()]
