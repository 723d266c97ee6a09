"""A record thinned to what tells something: an output at some instants of each cycle, currents as means over bins."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from benchctl.fit.reading.items import CURRENT, VOLTAGE, Instants, Item, Samples, Scale
from benchctl.fit.reading.unlike import left_of_unlike_steps, sine_of_steps, spread_of, spread_of_noise
from benchctl.measure.signal.record import OUTPUT, Capture, Trace
from benchctl.measure.uncertainty import Accuracy

POINTS, POINTS_OF_HELD = 25, 50
"""Instants in a cycle, about; of rails that are held, which recover within a cycle, more."""

STEADY_CYCLES = 4
"""Cycles of a steady tone whose samples are taken."""

GROWTH = 1.6
"""Each bin after a burst is so much longer than the one before."""

DC_MOVES_V, DC_MOVES = 1e-4, 0.01
"""What dc at an output may move between two records, as a standard uncertainty: in V, and a part of it (common
practice)."""

RANGES_APART = 0.25
"""Of the stated accuracy of an oscilloscope: by so much two ranges of one channel may differ, or by its linearity if
that is more; set after trials on simulated benches."""

GAIN_MOVES = 0.02
"""Of the stated accuracy of an oscilloscope or a meter: by so much its gain may move from record to record, as a
standard uncertainty, set after trials on simulated benches."""

_QUIET_STEPS = 0.3
"""Noise of less than this part of a step of the converter does not average its steps out."""

LEFT_OF_STEP = 0.02
"""Of a step: no two of a real converter are alike (common practice)."""


def burst_instants(capture: Capture, frequency_hz: float, cycles: int, clear_s: float, points: int) -> Instants:
    """From the trigger to the end of the burst, and bins from there to the end of the record. Outputs count `clear_s`
    away from both ends."""
    every = max(round(1.0 / (frequency_hz * capture.interval_s * points)), 1)
    end_s = cycles / frequency_hz
    first = max(math.ceil(-capture.start_s / capture.interval_s - 1e-6), 0)
    last = math.floor((end_s - capture.start_s) / capture.interval_s + 1e-6)
    samples = np.arange(first, last + 1, every)
    sampled_s = capture.start_s + samples * capture.interval_s
    nodes_s = np.concatenate([[0.0], sampled_s, [end_s]])
    left_s = capture.start_s + (capture.samples - 1) * capture.interval_s - end_s
    clear = (sampled_s >= clear_s) & (sampled_s <= end_s - clear_s + 1e-9)
    bins, edges = (
        _bins(len(samples), round(1.0 / (frequency_hz * capture.interval_s * every))),
        _edges(1.0 / frequency_hz, left_s),
    )
    return Instants(nodes_s, 1 + np.flatnonzero(clear), bins, edges)


def steady_instants(capture: Capture, frequency_hz: float, clear_s: float, points: int) -> Instants:
    """Some cycles from the trigger on."""
    every = max(round(1.0 / (frequency_hz * capture.interval_s * points)), 1)
    first = max(math.ceil(-capture.start_s / capture.interval_s - 1e-6), 0)
    last = min(first + round(STEADY_CYCLES / (frequency_hz * capture.interval_s)), capture.samples - 1)
    samples = np.arange(first, last + 1, every)
    sampled_s = capture.start_s + samples * capture.interval_s
    nodes_s = np.concatenate([[0.0], sampled_s])
    whole = [1, len(samples)]
    clear = sampled_s >= sampled_s[0] + clear_s
    return Instants(nodes_s, 1 + np.flatnonzero(clear), np.array([whole]), np.zeros(0))


def _bins(samples: int, length: int) -> NDArray[np.int64]:
    """Pairs of nodes, the first sample being node 1; at least one bin."""
    starts: list[int] = list(range(1, max(samples - length, 1) + 1, length))
    return np.array([[start, min(start + length, samples)] for start in starts if min(start + length, samples) > start])


def _edges(cycle_s: float, left_s: float) -> Samples:
    """Whole cycles of the quiet tone, since the current of rails that recover fast swings within a cycle."""
    widths = [1]
    while (sum(widths) + math.ceil(widths[-1] * GROWTH)) * cycle_s < left_s:
        widths.append(math.ceil(widths[-1] * GROWTH))
    edges = cycle_s * np.concatenate([[0.0], np.cumsum(widths)])
    return edges[edges <= left_s]


def scale_of(signal: str, trace: Trace, accuracies: Sequence[Accuracy]) -> Scale:
    """The limits of error that the bench file states, as standard uncertainties (JCGM 100, 4.3.7)."""
    limits = [each.zero_limit(trace.full_scale) for each in accuracies]
    if trace.zero_limit is not None:
        limits = [trace.zero_limit]
    return Scale(
        signal,
        gain_u=_root_of_squares(each.reading for each in accuracies) / math.sqrt(3.0),
        range_name=f"{trace.full_scale:.4g} {trace.unit}",
        range_gain_u=_root_of_squares(_ranges_apart(each) for each in accuracies) / math.sqrt(3.0),
        record_gain_u=GAIN_MOVES * _root_of_squares(each.reading for each in accuracies if each.linearity),
        zero_u=_root_of_squares(limits) / math.sqrt(3.0),
        steps_u=left_of_steps(noise_of_a_sample(trace), trace.step) if signal in {CURRENT, VOLTAGE} else 0.0,
        step=trace.step,
    )


def left_of_steps(noise: float, step: float) -> float:
    """What the steps of the converter leave in means over many samples, at one level against another.

    What is seen of the noise holds what the steps make themselves.
    """
    if not step:
        return 0.0
    return step * max(float(sine_of_steps(np.array(noise / step))), LEFT_OF_STEP)


def _ranges_apart(accuracy: Accuracy) -> float:
    """Only an oscilloscope has ranges, and a linearity."""
    return max(accuracy.linearity, RANGES_APART * accuracy.reading) if accuracy.linearity else 0.0


def _root_of_squares(values: Iterable[float]) -> float:
    return math.sqrt(sum(value**2 for value in values))


def outputs_of(
    capture: Capture, instants: Instants, scales: Mapping[str, Scale], channels: Sequence[str], apart: int = 1
) -> dict[str, Item]:
    """Output voltages at the instants; `apart` as for `noise_of_a_sample`."""
    return {
        f"{OUTPUT}{channel}": _points(capture, instants, scales[f"{OUTPUT}{channel}"], apart)
        for channel in channels
        if f"{OUTPUT}{channel}" in capture.traces and f"{OUTPUT}{channel}" in scales
    }


def _points(capture: Capture, instants: Instants, scale: Scale, apart: int) -> Item:
    trace = capture.trace(scale.signal)
    places = _places(capture, instants.nodes_s[instants.sampled])
    values = trace.values()[places]
    noise = noise_of_a_sample(trace, apart)
    spread = spread_of_noise(noise, trace.step)
    own = math.hypot(noise, left_of_unlike_steps(spread) * trace.step)
    return Item(scale.signal, values, np.full(len(values), own), scale, np.full(len(values), spread))


def supply_bins(capture: Capture, instants: Instants, scales: Mapping[str, Scale]) -> dict[str, Item]:
    """Current and voltage at the terminals as means over bins: before the trigger, in the burst, and after it."""
    return {
        signal: _means(capture, instants, scales[signal])
        for signal in (CURRENT, VOLTAGE)
        if signal in capture.traces and signal in scales
    }


def _means(capture: Capture, instants: Instants, scale: Scale) -> Item:
    trace = capture.trace(scale.signal)
    values = trace.values()
    bounds = list(spans(capture, instants))
    means = [_mean(values[start : stop + 1]) for start, stop in bounds]
    spreads = [spread_of(values[start : stop + 1], trace.step) for start, stop in bounds]
    noise = noise_of_a_sample(trace)
    counts = [stop - start for start, stop in bounds]
    own = [noise_of_a_mean(trace, noise, *each) for each in zip(counts, spreads, strict=True)]
    return Item(scale.signal, np.array(means), np.array(own), scale, np.array(spreads))


def spans(capture: Capture, instants: Instants) -> Iterator[tuple[int, int]]:
    """First and last sample of each bin."""
    end_s = float(instants.nodes_s[-1])
    if len(instants.after_s):
        yield 0, max(round(-capture.start_s / capture.interval_s) - 1, 1)
    for start, stop in instants.bins:
        first, last = _places(capture, instants.nodes_s[[start, stop]])
        yield int(first), int(last)
    after = _places(capture, instants.after_s + end_s)
    for first, last in pairwise(after):
        yield int(first), int(last)


def whole_mean(capture: Capture, scale: Scale) -> Item:
    """The mean of a whole record."""
    trace = capture.trace(scale.signal)
    values = trace.values()
    spread = spread_of(values, trace.step)
    noise = noise_of_a_mean(trace, noise_of_a_sample(trace), capture.samples, spread)
    return Item(scale.signal, np.array([values.mean()]), np.array([noise]), scale, np.array([spread]))


def resting_mean(capture: Capture, scale: Scale, heard: Capture, apart: int) -> Item:
    """The dc of an output at rest, which moves a little with the temperature inside.

    Args:
        heard: the record without the carrier of a class D amplifier, which is no noise of a mean, though it averages
            the steps of the converter out.
        apart: as for `noise_of_a_sample`, of that.
    """
    found = whole_mean(capture, scale)
    trace = capture.trace(scale.signal)
    noise = found.noise
    if apart > 1 and noise_of_a_sample(trace) >= _QUIET_STEPS * trace.step:
        of_one = noise_of_a_sample(heard.trace(scale.signal), apart)
        left = left_of_unlike_steps(spread_of(trace.values(), trace.step)) * trace.step
        noise = np.hypot(of_one / math.sqrt(capture.samples / apart), left)
    return replace(found, noise=np.hypot(noise, DC_MOVES_V + DC_MOVES * np.abs(found.values)))


def _mean(values: Samples) -> float:
    """Over the time from the first to the last sample."""
    return float((values.sum() - (values[0] + values[-1]) / 2.0) / max(len(values) - 1, 1))


def _places(capture: Capture, times_s: Samples) -> NDArray[np.int64]:
    places = np.rint((times_s - capture.start_s) / capture.interval_s).astype(np.int64)
    return np.clip(places, 0, capture.samples - 1)


def noise_of_a_sample(trace: Trace, apart: int = 1) -> float:
    """From what neighbours differ by beyond a cubic, with the steps of the converter in it.

    `apart`: so many samples apart values count as neighbours, for those that a low-pass has made alike differ by too
    little.
    """
    values = trace.values()[-4096 * apart :: apart]
    fourth = np.diff(values, 4)
    # The mean size, which a few corners in the signal move little; 70 is the sum of the squares of 1, 4, 6, 4, 1.
    seen = float(np.mean(np.abs(fourth))) * math.sqrt(math.pi / 2.0) / math.sqrt(70.0) if fourth.size else 0.0
    return max(seen, trace.step / math.sqrt(12.0))


def noise_of_a_mean(trace: Trace, noise: float, samples: int, spread: float) -> float:
    """Of the mean over some samples, each with this noise, that spread over so many steps."""
    if noise < _QUIET_STEPS * trace.step:
        return trace.step / math.sqrt(12.0)
    return math.hypot(noise / math.sqrt(max(samples, 1)), left_of_unlike_steps(spread) * trace.step)
