"""One capture's signals as uncertain numbers: each instrument chain and each load is one variable, however often."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from uncertainties import UFloat

from benchctl.errors import MeasurementError
from benchctl.measure.budget.linearity import on_ratio
from benchctl.measure.budget.power import load_power
from benchctl.measure.signal.peaks import Peak, noise_beside_tones
from benchctl.measure.signal.record import OUTPUT, OUTPUT_CURRENT, SUPPLY_CURRENT, SUPPLY_VOLTAGE, Capture, Trace
from benchctl.measure.signal.supply import Span, extremes, mean, mean_product, mean_square
from benchctl.measure.uncertainty import (
    Accuracy,
    ErrorOf,
    LoadResistance,
    exactly,
    mean_of,
    measured,
    rectangular,
)

_NOISE_SAMPLES = 1 << 13  # tell the noise of a sample to two per cent


class Signals:
    """The signals of `capture`, with the accuracies of their chains and the loads they drive."""

    def __init__(
        self,
        capture: Capture,
        accuracy: Mapping[str, Sequence[Accuracy]],
        loads: Mapping[str, LoadResistance] | None = None,
    ) -> None:
        self.capture = capture
        self._accuracy = accuracy
        self._errors = {
            name: ErrorOf(accuracy.get(name, ()), trace.full_scale, trace.zero_limit, name)
            for name, trace in capture.traces.items()
        }
        self._loads = {channel: load.resistance(f"load at {channel}") for channel, load in (loads or {}).items()}

    def at_another_time(self, capture: Capture) -> Signals:
        """Another record of the same chains and loads: an error of gain is one and the same in both, and so is one of
        zero where the range is the same."""
        other = Signals(capture, self._accuracy)
        other._loads = self._loads
        for name in other._errors.keys() & self._errors.keys():
            here, there = self.capture.traces[name], capture.traces[name]
            other._errors[name].gain = self._errors[name].gain
            if (here.full_scale, here.zero_limit) == (there.full_scale, there.zero_limit):
                other._errors[name].zero = self._errors[name].zero
        return other

    @property
    def channels(self) -> tuple[str, ...]:
        """The channels that have both a record and a load.

        Raises:
            MeasurementError: there is none.
        """
        channels = tuple(channel for channel in self.capture.channels if channel in self._loads)
        if not channels:
            raise MeasurementError(f"no channel in capture '{self.capture.name}' has a load")
        return channels

    @property
    def has_every_load(self) -> bool:
        """Whether every load's voltage was captured, so that powers add up to all of the output."""
        return set(self._loads) <= set(self.capture.channels)

    def has(self, *signals: str) -> bool:
        return all(signal in self.capture.traces for signal in signals)

    def on(self, signal: str, value: float, own: float = 0.0) -> UFloat:
        """A value taken from `signal`, with its chain's errors and a standard uncertainty `own` of this value alone."""
        return self._errors[signal].on(measured(value, own, _own(signal)))

    def on_difference(self, signal: str, value: float, own: float = 0.0) -> UFloat:
        """The same for a difference of two values of `signal`, which no error of zero moves."""
        return self._errors[signal].on_difference(measured(value, own, _own(signal)))

    def on_rms(self, signal: str, rms: float, mean: float, own: float = 0.0) -> UFloat:
        """The same for a true rms of `signal`, where its mean was `mean`."""
        return self._errors[signal].on_rms(measured(rms, own, _own(signal)), mean)

    def ratio(self, signal: str, ratio: UFloat, first: float, second: float) -> UFloat:
        """A ratio of two amplitudes of `signal`, with what the linearity of its chain leaves open."""
        trace = self.capture.trace(signal)
        return on_ratio(ratio, (first, second), (trace, trace), self._accuracy.get(signal, ()))

    def mean(self, signal: str, span: Span) -> UFloat:
        return self._errors[signal].on(mean_with_scatter(self.capture.trace(signal), span))

    def rms(self, signal: str, span: Span) -> UFloat:
        trace = self.capture.trace(signal)
        scatter = _scatter(span, lambda part: math.sqrt(mean_square(trace, part)))
        rms = math.sqrt(mean_square(trace, span)) + scatter
        return self._errors[signal].on_rms(rms, mean(trace, span))

    def extremes(self, signal: str, span: Span) -> tuple[UFloat, UFloat]:
        """Lowest and highest value within 20 kHz."""
        lowest, highest = extremes(self.capture.trace(signal), span, self.capture.interval_s)
        return self._errors[signal].on(_peak(lowest, signal)), self._errors[signal].on(_peak(highest, signal))

    def highest_above_mean(self, signal: str, span: Span) -> UFloat:
        """What the highest value within 20 kHz is above the mean; not less than nothing, whatever noise makes of it."""
        trace = self.capture.trace(signal)
        _, highest = extremes(trace, span, self.capture.interval_s)
        above = replace(highest, value=max(highest.value - mean(trace, span), 0.0))
        return self._errors[signal].on_difference(_peak(above, signal))

    def half_span(self, signal: str, half: Peak) -> UFloat:
        """Half of peak to peak of `signal`, which an error of zero does not move."""
        return self._errors[signal].on_difference(_peak(half, signal))

    def power(self, channel: str, rms_v: UFloat) -> UFloat:
        """V^2 / R of a channel in W, R at its temperature."""
        return load_power(rms_v, self._loads[channel])

    def mean_power(self, channel: str, span: Span) -> UFloat:
        """Mean power of a channel in W: of v * i where the current is captured, else from the load's resistance."""
        if self.has(OUTPUT_CURRENT + channel):
            return self.mean_product(OUTPUT + channel, OUTPUT_CURRENT + channel, span)
        return self.power(channel, self.rms(OUTPUT + channel, span))

    def supply_power(self, span: Span) -> UFloat | None:
        """Mean of v * i at the supply in W; None where one of the two was not captured."""
        if not self.has(SUPPLY_VOLTAGE, SUPPLY_CURRENT):
            return None
        return self.mean_product(SUPPLY_VOLTAGE, SUPPLY_CURRENT, span)

    def mean_product(self, first: str, second: str, span: Span) -> UFloat:
        """Mean of a product of two signals: g g' mean(x y) + z mean(y) + z' mean(x); g gains, z errors of zero."""
        x, y = self.capture.trace(first), self.capture.trace(second)
        one, other = self._errors[first], self._errors[second]
        scatter = _scatter(span, lambda part: mean_product(x, y, part))
        product = mean_product(x, y, span) + scatter
        return one.gain * other.gain * product + one.zero * mean(y, span) + other.zero * mean(x, span)


def mean_with_scatter(trace: Trace, span: Span) -> UFloat:
    """The mean of a trace over a span, uncertain by the scatter of the span's like parts. A few parts may agree by
    chance: no mean is known better than the noise of its samples leaves it, s / sqrt n (JCGM 100, 4.2.3)."""
    scatter = _scatter(span, lambda part: mean(trace, part))
    enough = min(span.stop, span.start + _NOISE_SAMPLES)
    least = noise_beside_tones(trace.values(span.start, enough)) / math.sqrt(span.samples)
    return mean(trace, span) + (scatter if float(scatter.std_dev) > least else measured(0.0, least, "noise of samples"))


def _scatter(span: Span, of: Callable[[Span], float]) -> UFloat:
    """An error of nought, as uncertain as the scatter of the span's like parts leaves their mean (type A)."""
    parts = [of(part) for part in span.parts()]
    return mean_of(parts) - float(np.mean(parts)) if parts else exactly(0.0)


def _peak(peak: Peak, signal: str) -> UFloat:
    """With its own error, and with what nobody knows of its shape."""
    doubt = rectangular(0.0, math.sqrt(3.0) * peak.doubt, f"{signal}: shape of its peak")
    return measured(peak.value, peak.own, _own(signal)) + doubt


def _own(signal: str) -> str:
    """The name, in a budget, of what a value of this record alone may be off by."""
    return f"{signal}: noise and scatter of the record"
