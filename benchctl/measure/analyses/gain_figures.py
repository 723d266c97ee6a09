"""Gain and input sensitivity of each channel at one frequency, and how far they are from what was wanted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from uncertainties import UFloat

from benchctl.errors import MeasurementError, SilentRecord
from benchctl.measure.analyses.response_figures import ResponseContext, point_of
from benchctl.measure.budget.figure import Figure, figure_of, from_capture
from benchctl.measure.budget.meters import Readings
from benchctl.measure.budget.signals import Signals
from benchctl.measure.signal.record import Capture
from benchctl.measure.uncertainty import ErrorOf

GAIN = "gain"


@dataclass(frozen=True, kw_only=True)
class GainContext(ResponseContext):
    """One tone, by the role "gain". `wanted_gain`: volts for a volt. `rated_v`: the output voltage of rated power into
    the load, where the plate rates it."""

    wanted_gain: float | None = None
    rated_v: float | None = None


def gain(captures: Mapping[str, Capture], _readings: Readings, context: GainContext) -> list[Figure]:
    """Capture "gain" of all outputs.

    Gives gain per channel, gain_error (over the wanted gain, less 1) where one is wanted, input_sensitivity (V RMS for
    rated power) where the load is rated, and channel_balance (gain over that of the first channel) per further channel.

    Raises:
        SilentRecord: an output is silent.
        MeasurementError: the record is missing.
    """
    if GAIN not in captures:
        raise MeasurementError("no capture of the driven outputs was taken")
    capture = captures[GAIN]
    signals, source = Signals(capture, context.accuracy), ErrorOf(context.level_accuracy).on(context.level_v)
    points = {
        channel: point_of(signals, channel, context.tones_hz[GAIN], source, context) for channel in capture.channels
    }
    for channel, point in points.items():
        if point.is_drowned:
            raise SilentRecord(f"output {channel} is silent at {point.frequency_hz:g} Hz")
    gains = {channel: point.gain for channel, point in points.items()}
    figures = [figure for channel, value in gains.items() for figure in _of_channel(channel, value, context)]
    first, *others = gains
    figures += [figure_of("channel_balance", gains[channel] / gains[first], "1", channel) for channel in others]
    return from_capture(figures, capture.name)


def _of_channel(channel: str, value: UFloat, context: GainContext) -> list[Figure]:
    figures = [figure_of("gain", value, "1", channel)]
    if context.wanted_gain is not None:
        figures.append(figure_of("gain_error", value / context.wanted_gain - 1.0, "1", channel))
    if context.rated_v is not None:
        figures.append(figure_of("input_sensitivity", context.rated_v / value, "V", channel))
    return figures
