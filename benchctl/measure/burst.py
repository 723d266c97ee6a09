"""A burst as a table, a row a cycle: what a technician would read off the screen, for every cycle.

The burst is found in the record by its envelope, its first cycle by the phase of its fundamental. Cycles are then
cut at whole periods from there, each to the nearest sample.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from benchctl.errors import BurstNotFound, RecordTooShort, SilentRecord, WrongFrequency
from benchctl.measure.distortion import BAND_HZ, Distortion, cycle_harmonics, highest_harmonic
from benchctl.measure.record import Capture, Samples, Trace
from benchctl.measure.sine import fit_sine, fit_sine_4

_BLOCKS_A_CYCLE = 16.0
_FEWEST_STEPS = 8  # of the converter: less than this from the middle is no signal
_LEAST_THRESHOLD = 0.3  # of the burst's peak, where the rest is silent
_LONGEST_GAP_CYCLES = 0.75  # below the threshold within one burst: around a zero crossing, at most half a cycle
_SETTLING_CYCLES = 2  # after a burst, before its rest is looked at
_REST_CYCLES = 64  # of rest are enough to know its noise to 10 %
_FREQUENCY_TOLERANCE = 0.01


@dataclass(frozen=True)
class Burst:
    """Where the burst lies: the start of its first cycle in seconds from the trigger."""

    start_s: float
    cycles: int
    frequency_hz: float

    @property
    def stop_s(self) -> float:
        return self.start_s + self.cycles / self.frequency_hz


@dataclass(frozen=True)
class Cycle:
    """One whole cycle at the output; peaks and rms in the trace's unit, the negative peak below zero."""

    start_s: float
    positive_peak: float
    negative_peak: float
    rms: float
    thd_n: Distortion

    @property
    def peak(self) -> float:
        """Half of peak to peak, which an offset does not move."""
        return (self.positive_peak - self.negative_peak) / 2.0

    @property
    def symmetry(self) -> float:
        """(positive - negative) / (positive + negative) peak: 0 for equal halves, above where the positive is larger."""
        return (self.positive_peak + self.negative_peak) / (self.positive_peak - self.negative_peak)


@dataclass(frozen=True)
class CycleTable:
    """The cycles of one burst at one channel, in order; `noise_rms` is the record's own within the band, a cycle."""

    cycles: tuple[Cycle, ...]
    frequency_hz: float
    noise_rms: float
    step: float

    @property
    def lowest(self) -> Cycle:
        return min(self.cycles, key=lambda cycle: cycle.rms)

    @property
    def highest(self) -> Cycle:
        return max(self.cycles, key=lambda cycle: cycle.rms)

    @property
    def worst(self) -> Cycle:
        """The cycle with the most distortion."""
        return max(self.cycles, key=lambda cycle: cycle.thd_n.ratio)


def find_burst(capture: Capture, signal: str, frequency_hz: float, cycles: int, low_level_ratio: float = 0.0) -> Burst:
    """The first whole burst of `cycles` cycles in the record.

    `low_level_ratio` is the level of the rest over that of the burst.

    Raises:
        SilentRecord: nothing stands out of the converter's steps.
        BurstNotFound: no burst stands out of the rest, it has another length, or the record's edge cuts it off.
        WrongFrequency: the record holds another tone.
    """
    trace = capture.trace(signal)
    envelope = _envelope(trace, capture.interval_s, frequency_hz)
    threshold = max(math.sqrt(low_level_ratio), _LEAST_THRESHOLD)
    first, stop = _whole_run(envelope, threshold, cycles, capture.interval_s * frequency_hz)
    found_hz = _check_frequency(trace, capture.interval_s, frequency_hz, stop, (first, stop))
    rise = math.asin(threshold) / (2.0 * math.pi * found_hz)
    near_s = capture.start_s + first * capture.interval_s - rise
    start_s = _zero_crossing(trace, capture, (first, stop), found_hz, near_s)
    return Burst(start_s, cycles, found_hz)


@dataclass(frozen=True)
class _Envelope:
    """The largest deviation from the mean in each block, shape (blocks,), in codes."""

    levels: Samples
    block: int


def _envelope(trace: Trace, interval_s: float, frequency_hz: float) -> _Envelope:
    block = max(int(1.0 / (_BLOCKS_A_CYCLE * frequency_hz * interval_s)), 1)
    whole = trace.codes.size // block
    if whole < _BLOCKS_A_CYCLE:
        raise RecordTooShort(f"{trace.codes.size} samples are less than a cycle of {frequency_hz:.6g} Hz")
    blocks = trace.codes[: whole * block].reshape(whole, block)
    middle = float(trace.codes.mean(dtype=np.float64))
    levels = np.maximum(blocks.max(axis=1) - middle, middle - blocks.min(axis=1))
    if levels.max() * abs(trace.scale) < _FEWEST_STEPS * trace.step:
        raise SilentRecord(f"the record holds no more than {levels.max():.3g} codes of signal")
    return _Envelope(levels, block)


def _whole_run(envelope: _Envelope, threshold: float, cycles: int, cycles_a_sample: float) -> tuple[int, int]:
    """First sample and the one after the last of the first run above the threshold that has the length told."""
    above = np.flatnonzero(envelope.levels > threshold * envelope.levels.max())
    longest_gap = max(_LONGEST_GAP_CYCLES / (envelope.block * cycles_a_sample), 1.0)
    runs = np.split(above, np.flatnonzero(np.diff(above) > longest_gap) + 1)
    lengths = [(int(run[-1]) + 1 - int(run[0])) * envelope.block * cycles_a_sample for run in runs]
    for run, length in zip(runs, lengths, strict=True):
        if cycles - 0.6 < length < cycles + 0.4:
            return int(run[0]) * envelope.block, (int(run[-1]) + 1) * envelope.block
    raise _why_no_burst(runs, lengths, cycles, envelope.levels.size)


def _why_no_burst(runs: list[Samples], lengths: list[float], cycles: int, blocks: int) -> BurstNotFound:
    longest = int(np.argmax(lengths))
    at_edge = runs[longest][0] == 0 or runs[longest][-1] == blocks - 1
    if at_edge and lengths[longest] < cycles:
        return BurstNotFound(
            f"the record's edge cuts the burst off: {lengths[longest]:.1f} of {cycles} cycles are in it"
        )
    return BurstNotFound(f"the longest burst in the record has {lengths[longest]:.1f} cycles where {cycles} were told")


def _check_frequency(trace: Trace, interval_s: float, frequency_hz: float, stop: int, burst: tuple[int, int]) -> float:
    """The frequency found in the rest or, where that is silent, in the burst; the one told, where neither can show it."""
    period = 1.0 / (frequency_hz * interval_s)
    rest = trace.values(
        stop + round(_SETTLING_CYCLES * period), stop + round((_SETTLING_CYCLES + _REST_CYCLES) * period)
    )
    if rest.size > 3 * period and np.ptp(rest) > 2 * _FEWEST_STEPS * trace.step:
        found_hz = _tone_of(rest, interval_s, frequency_hz)
        if found_hz is not None:
            return found_hz
    if burst[1] - burst[0] > 3 * period:
        return _tone_of(trace.values(*burst), interval_s, frequency_hz) or frequency_hz
    return frequency_hz


def _tone_of(values: Samples, interval_s: float, frequency_hz: float) -> float | None:
    """The frequency of a clear tone; None where noise hides it."""
    fit = fit_sine_4(values, interval_s, frequency_hz)
    if fit.residual_rms > fit.rms:
        return None
    if abs(fit.frequency_hz / frequency_hz - 1.0) > _FREQUENCY_TOLERANCE:
        raise WrongFrequency(f"the record holds {fit.frequency_hz:.6g} Hz where {frequency_hz:.6g} Hz was asked for")
    return fit.frequency_hz


def _zero_crossing(trace: Trace, capture: Capture, burst: tuple[int, int], frequency_hz: float, near_s: float) -> float:
    """The zero crossing of the burst's fundamental that lies nearest to `near_s`."""
    fit = fit_sine(trace.values(*burst), capture.interval_s, frequency_hz)
    origin_s = capture.start_s + burst[0] * capture.interval_s
    first_s = origin_s + (math.pi / 2.0 - fit.phase_rad) / (2.0 * math.pi * frequency_hz)
    half_s = 0.5 / frequency_hz
    return first_s + round((near_s - first_s) / half_s) * half_s


def cycle_table(capture: Capture, signal: str, burst: Burst, band_hz: float = BAND_HZ) -> CycleTable:
    """Every cycle of the burst at `signal`.

    Raises:
        RecordTooShort: the burst does not lie within the record.
        SampledTooSlowly: the band edge lies beyond half the sample rate.
    """
    trace = capture.trace(signal)
    highest = highest_harmonic(burst.frequency_hz, band_hz, capture.interval_s)
    rows = _cut(trace, capture, burst.start_s, burst.cycles, burst.frequency_hz)
    parts = cycle_harmonics(rows, capture.interval_s, burst.frequency_hz, highest)
    if not np.all(parts.band_mean_square > 0.0):
        raise SilentRecord(f"'{signal}' is silent within the burst")
    noise_rms = _noise_rms(trace, capture, burst, highest)
    ratios = np.sqrt(parts.residual_mean_square / parts.band_mean_square)
    floors = noise_rms / np.sqrt(parts.band_mean_square)
    columns = (rows.max(axis=1), rows.min(axis=1), np.sqrt(parts.mean_square), ratios, floors)
    cycles = tuple(
        Cycle(burst.start_s + number / burst.frequency_hz, positive, negative, rms, Distortion(ratio, floor))
        for number, (positive, negative, rms, ratio, floor) in enumerate(np.column_stack(columns).tolist())
    )
    return CycleTable(cycles, burst.frequency_hz, noise_rms, trace.step)


def _cut(trace: Trace, capture: Capture, start_s: float, cycles: int, frequency_hz: float) -> Samples:
    """Rows of one cycle each, shape (cycles, samples a cycle), from the first sample in each cycle on."""
    period = 1.0 / (frequency_hz * capture.interval_s)
    samples = round(period)
    begin = (start_s - capture.start_s) / capture.interval_s + period * np.arange(cycles)
    starts = np.ceil(begin - 0.5).astype(np.int64)
    # The zero crossing is found to a fraction of a sample, so a burst that starts with the record may seem to start before it.
    slack = max(1, round(0.01 * period))
    starts = np.where((starts < 0) & (starts >= -slack), 0, starts)
    stop = int(starts[-1]) + samples
    if starts[0] < 0 or stop > trace.codes.size + slack:
        raise RecordTooShort(f"the burst does not lie within capture '{capture.name}'")
    first = int(starts[0])
    last = min(int(starts[-1]), trace.codes.size - samples)
    values = trace.values(first, last + samples)
    windows = np.lib.stride_tricks.sliding_window_view(values, samples)
    return windows[np.minimum(starts, last) - first]


def _noise_rms(trace: Trace, capture: Capture, burst: Burst, highest: int) -> float:
    """The record's own noise within the band over one cycle: scatter from cycle to cycle of the rest, or the steps'."""
    period_s = 1.0 / burst.frequency_hz
    steps = trace.step / math.sqrt(12.0) * math.sqrt(2.0 * burst.frequency_hz * capture.interval_s * (highest - 1))
    begin_s = burst.stop_s + _SETTLING_CYCLES * period_s
    room = math.floor((capture.start_s + capture.duration_s - begin_s) * burst.frequency_hz) - 1
    if room < 3:
        return steps
    rest = _cut(trace, capture, begin_s, min(room, _REST_CYCLES), burst.frequency_hz)
    harmonics = cycle_harmonics(rest, capture.interval_s, burst.frequency_hz, highest).harmonics[:, 1:]
    # Half the mean square of successive differences is the variance, and no slow drift counts in it.
    variance = np.sum(np.abs(np.diff(harmonics, axis=0)) ** 2, axis=1).mean() / 2.0
    return max(math.sqrt(variance / 2.0), steps)
