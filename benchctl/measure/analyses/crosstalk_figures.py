"""How much of a driven channel shows at the others, whose inputs are terminated."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain

from uncertainties import UFloat

from benchctl.errors import MeasurementError, SilentRecord
from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.budget.figure import Figure, figure_of
from benchctl.measure.budget.meters import Readings
from benchctl.measure.budget.signals import Signals
from benchctl.measure.signal.record import OUTPUT, Capture
from benchctl.measure.signal.sine import fit_with_noise
from benchctl.measure.uncertainty import measured

_FLOOR_FACTOR = 3.0  # nearer to its own noise than this an amplitude is an upper bound
_DRIVEN_TOO = 0.5  # of the driven channel: nothing leaks so much, but an input that was left plugged in does


@dataclass(frozen=True, kw_only=True)
class CrosstalkContext(IdleContext):
    """One input driven at a time: role of the capture -> the channel that was driven, and the frequency in Hz."""

    driven: Mapping[str, str]
    tones_hz: Mapping[str, float]


@dataclass(frozen=True)
class _Leak:
    """What one driven channel makes at another, over what it gives itself."""

    ratio: UFloat
    is_bound: bool
    frequency_hz: float
    capture: str

    @property
    def highest(self) -> float:
        """The ratio is at most this, if it is a bound: the amplitude that was found and its noise."""
        return float(self.ratio.nominal_value + 2.0 * self.ratio.std_dev)


def crosstalk(captures: Mapping[str, Capture], _readings: Readings, context: CrosstalkContext) -> list[Figure]:
    """Captures by the roles of the context, each of all outputs.

    Gives crosstalk per undriven channel and frequency, as a ratio of voltages; of several driven channels that of the
    one that leaks most; a bound where it is no more than noise. Where the driven output is no more than noise itself,
    behind a filter for example, nothing is known.

    Raises:
        SilentRecord: a driven output is silent at every frequency.
        MeasurementError: a record is missing, or another output plays as loud.
    """
    if not set(context.tones_hz) <= set(captures):
        raise MeasurementError("crosstalk needs a record of each driven channel at each frequency")
    leaks = {
        role: _leaks(captures[role], context.driven[role], context.tones_hz[role], context) for role in context.tones_hz
    }
    _refuse_silence(leaks, context)
    worst: dict[tuple[str, float], _Leak] = {}
    for channel, leak in chain.from_iterable(leaks.values()):
        place = (channel, leak.frequency_hz)
        if place not in worst or leak.highest > worst[place].highest:
            worst[place] = leak
    return [_figure(channel, worst[channel, frequency_hz]) for channel, frequency_hz in sorted(worst)]


def _refuse_silence(leaks: Mapping[str, Sequence[tuple[str, _Leak]]], context: CrosstalkContext) -> None:
    playing = {context.driven[role] for role, found in leaks.items() if found}
    for silent in sorted(set(context.driven.values()) - playing):
        raise SilentRecord(f"output {silent} is driven and silent at every frequency")


def _leaks(capture: Capture, driven: str, frequency_hz: float, context: CrosstalkContext) -> list[tuple[str, _Leak]]:
    """What shows at each other channel; nothing where the driven one is no more than noise."""
    signals = Signals(capture, context.accuracy)
    source = _amplitude(signals, driven, frequency_hz)
    if not source.nominal_value > _FLOOR_FACTOR * source.std_dev:
        return []
    leaks = []
    for channel in capture.channels:
        if channel == driven:
            continue
        heard = _amplitude(signals, channel, frequency_hz)
        if heard.nominal_value > _DRIVEN_TOO * source.nominal_value:
            raise MeasurementError(f"output {channel} plays as {driven} does: its input is driven too")
        ratio = _on_chain(signals, channel, heard) / _on_chain(signals, driven, source)
        is_bound = bool(heard.nominal_value < _FLOOR_FACTOR * heard.std_dev)
        leaks.append((channel, _Leak(ratio, is_bound, frequency_hz, capture.name)))
    return leaks


def _amplitude(signals: Signals, channel: str, frequency_hz: float) -> UFloat:
    """Of the tone at an output, with the noise of the record alone."""
    capture = signals.capture
    fit, noise = fit_with_noise(capture.trace(OUTPUT + channel).values(), capture.interval_s, frequency_hz)
    return measured(fit.amplitude, noise)


def _on_chain(signals: Signals, channel: str, amplitude: UFloat) -> UFloat:
    return signals.on_difference(OUTPUT + channel, float(amplitude.nominal_value), float(amplitude.std_dev))


def _figure(channel: str, leak: _Leak) -> Figure:
    figure = figure_of("crosstalk", leak.ratio, "1", channel)
    if leak.is_bound:
        figure = Figure("crosstalk", leak.highest, "1", channel=channel, bound="at most")
    return replace(figure, frequency_hz=leak.frequency_hz, capture=leak.capture)
