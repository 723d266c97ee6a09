"""Where in a record the burst is: found by its envelope, its first cycle by the phase of its fundamental."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from benchctl.errors import BurstNotFound, RecordTooShort, SilentRecord, WrongFrequency
from benchctl.measure.signal.record import Capture, Samples, Trace
from benchctl.measure.signal.sine import find_frequency, fit_phase

_BLOCKS_A_CYCLE = 16.0
_FEWEST_STEPS = 8  # of the converter: less than this from the middle is not a signal
_LEAST_THRESHOLD = 0.3  # of the burst's peak, where the rest is silent
_LONGEST_GAP_CYCLES = 0.75  # below the threshold within one burst: around a zero crossing, at most half a cycle
_LENGTH_BELOW, _LENGTH_ABOVE = (
    0.6,
    0.4,
)  # cycles by which a burst may seem shorter (slow edges) or longer (whole blocks)
_FREQUENCY_TOLERANCE = 0.01
_TONE_CYCLES = 3.0  # fewer do not fix a frequency
_PHASE_CYCLES = 8.0  # are enough to know the phase of the first

SETTLING_CYCLES = 2  # after a burst, before its rest is looked at
REST_CYCLES = 64  # of rest are enough to know its noise to some 10 %, and its frequency to parts in 1e6


@dataclass(frozen=True)
class Burst:
    """Where the burst lies: the start of its first cycle in seconds from the trigger."""

    start_s: float
    cycles: int
    frequency_hz: float

    @property
    def stop_s(self) -> float:
        return self.start_s + self.cycles / self.frequency_hz


def find_burst(
    capture: Capture,
    signal: str,
    frequency_hz: float,
    cycles: int,
    low_level_ratio: float = 0.0,
    *,
    phase_is_free: bool = False,
) -> Burst:
    """The first whole burst of `cycles` cycles in the record.

    `low_level_ratio` is the level of the rest over that of the burst. With `phase_is_free` it begins anywhere in a
    cycle; the burst that is returned has only its whole cycles, one less.

    Raises:
        SilentRecord: nothing stands out of the converter's steps.
        BurstNotFound: no burst stands out of the rest, it has another length, or the record's edge cuts it off.
        WrongFrequency: the record holds another tone.
        RecordTooShort: the record is shorter than a cycle.
    """
    trace = capture.trace(signal)
    envelope = _envelope(trace, capture.interval_s, frequency_hz)
    threshold = max(math.sqrt(low_level_ratio), _LEAST_THRESHOLD)
    run = _whole_run(envelope, threshold, cycles, capture.interval_s * frequency_hz)
    found_hz = _frequency_of(trace, capture.interval_s, frequency_hz, run, low_level_ratio)
    rise_s = math.asin(threshold) / (2.0 * math.pi * found_hz)
    run_s = capture.start_s + run.start * capture.interval_s
    if phase_is_free:
        return _whole_cycles(Burst(_zero_crossing(trace, capture, run, found_hz, run_s), cycles, found_hz), run_s)
    return Burst(_zero_crossing(trace, capture, run, found_hz, run_s - rise_s), cycles, found_hz)


def _whole_cycles(burst: Burst, begins_s: float) -> Burst:
    """The cycles from the first zero crossing inside the burst on, either way: at least all but one are whole."""
    half_s = 0.5 / burst.frequency_hz
    start_s = burst.start_s if burst.start_s >= begins_s else burst.start_s + half_s
    if burst.cycles < 2:
        raise BurstNotFound("a burst of 1 cycle that begins anywhere in a cycle has no whole one")
    return Burst(start_s, burst.cycles - 1, burst.frequency_hz)


@dataclass(frozen=True)
class _Envelope:
    """How far the mean of each block of samples lies from the mean of all, shape (blocks,), in codes."""

    levels: Samples
    block: int


def _envelope(trace: Trace, interval_s: float, frequency_hz: float) -> _Envelope:
    block = max(int(1.0 / (_BLOCKS_A_CYCLE * frequency_hz * interval_s)), 1)
    whole = trace.codes.size // block
    if trace.codes.size * frequency_hz * interval_s < 1.0:
        raise RecordTooShort(f"{trace.codes.size} samples are less than a cycle of {frequency_hz:.6g} Hz")
    # The mean of a block, not its extremes: what a class D amplifier leaves of its carrier is not a part of a burst.
    means = trace.codes[: whole * block].reshape(whole, block).mean(axis=1, dtype=np.float64)
    levels = np.abs(means - float(trace.codes.mean(dtype=np.float64)))
    if levels.max() * abs(trace.scale) < _FEWEST_STEPS * trace.step:
        raise SilentRecord(f"the record holds no more than {levels.max():.3g} codes of signal")
    return _Envelope(levels, block)


def _whole_run(envelope: _Envelope, threshold: float, cycles: int, cycles_a_sample: float) -> range:
    """The samples of the first run above the threshold that has the length told."""
    above = np.flatnonzero(envelope.levels > threshold * envelope.levels.max())
    longest_gap = max(_LONGEST_GAP_CYCLES / (envelope.block * cycles_a_sample), 1.0)
    breaks = np.flatnonzero(np.diff(above) > longest_gap)
    firsts = above[np.concatenate([[0], breaks + 1])].tolist()
    lasts = above[np.concatenate([breaks, [above.size - 1]])].tolist()
    runs = [range(first, last + 1) for first, last in zip(firsts, lasts, strict=True)]
    for run in runs:
        if -_LENGTH_BELOW < len(run) * envelope.block * cycles_a_sample - cycles < _LENGTH_ABOVE:
            return range(run.start * envelope.block, run.stop * envelope.block)
    longest = max(runs, key=len)
    # A burst that the edge cuts at a zero crossing begins or ends with one low block.
    at_edge = longest.start <= 1 or longest.stop >= envelope.levels.size - 1
    raise _not_found(len(longest) * envelope.block * cycles_a_sample, cycles, at_edge=at_edge)


def _not_found(length: float, cycles: int, *, at_edge: bool) -> BurstNotFound:
    if at_edge and length < cycles:
        return BurstNotFound(f"the record's edge cuts the burst off: {length:.1f} of {cycles} cycles are in it")
    return BurstNotFound(f"the longest burst in the record has {length:.1f} cycles where {cycles} were told")


def _frequency_of(trace: Trace, interval_s: float, told_hz: float, run: range, low_level_ratio: float) -> float:
    """The frequency of the rest or, where that shows no tone, of the burst; the one told, where neither can show it."""
    period = 1.0 / (told_hz * interval_s)
    begin = run.stop + round(SETTLING_CYCLES * period)
    rest = trace.values(begin, begin + round(REST_CYCLES * period))
    if rest.size > _TONE_CYCLES * period and _is_tone(rest, trace, low_level_ratio):
        return _tone(rest, interval_s, told_hz)
    if len(run) > _TONE_CYCLES * period:
        enough = run.start + round(REST_CYCLES * period)
        return _tone(trace.values(run.start, min(run.stop, enough)), interval_s, told_hz)
    return told_hz


def _is_tone(rest: Samples, trace: Trace, low_level_ratio: float) -> bool:
    """Whether the rest is as strong as its tone should be, so that it is no mere noise, and stands out of the steps."""
    strength = float(np.std(rest))
    peak_to_peak = abs(trace.scale) * (int(trace.codes.max()) - int(trace.codes.min()))
    told = low_level_ratio * peak_to_peak / math.sqrt(8.0)
    return strength > _FEWEST_STEPS * trace.step and 0.5 * told < strength < 2.0 * told


def _tone(values: Samples, interval_s: float, told_hz: float) -> float:
    found_hz = find_frequency(values, interval_s, told_hz)
    if abs(found_hz / told_hz - 1.0) > _FREQUENCY_TOLERANCE:
        raise WrongFrequency(f"the record holds {found_hz:.6g} Hz where {told_hz:.6g} Hz was asked for")
    return found_hz


def _zero_crossing(trace: Trace, capture: Capture, run: range, frequency_hz: float, near_s: float) -> float:
    """The zero crossing of the burst's fundamental that lies nearest to `near_s`."""
    enough = run.start + round(_PHASE_CYCLES / (frequency_hz * capture.interval_s))
    phase_rad = fit_phase(trace.values(run.start, min(run.stop, enough)), capture.interval_s, frequency_hz)
    origin_s = capture.start_s + run.start * capture.interval_s
    first_s = origin_s + (math.pi / 2.0 - phase_rad) / (2.0 * math.pi * frequency_hz)
    half_s = 0.5 / frequency_hz
    return first_s + round((near_s - first_s) / half_s) * half_s
