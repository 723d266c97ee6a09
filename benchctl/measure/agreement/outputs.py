"""The outputs: what the oscilloscope shows against what the generator gives, and records that cannot be two."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from itertools import combinations

import numpy as np

from benchctl.measure.agreement.causes import cause_of_ratio
from benchctl.measure.agreement.comparison import Comparison, Sight
from benchctl.measure.agreement.reliance import OUTPUT_VOLTAGE, RECORDS
from benchctl.measure.analyses.look_context import LookContext
from benchctl.measure.budget.signals import Signals
from benchctl.measure.signal.record import OUTPUT, Capture
from benchctl.measure.signal.sine import fit_sine
from benchctl.measure.uncertainty import COVERAGE_FACTOR, ErrorOf
from benchctl.quantity import render

# The gain of a plate, and a control that a hand has set by its mark, are right to about so much (common practice).
GAIN_WITHIN = 10.0 ** (3.0 / 20.0)
_CHECK_RECORDS = (
    "No two channels have the same noise. Check which channel each question of the oscilloscope's driver names"
)
# A record of fewer different codes is of silence; two of those may well be the same.
_FEWEST_CODES = 16

_CHECK_OUTPUT = (
    "The sequence bench_check tells more. If a channel is dead, leave it out of the amplifier file's channels"
)


def output_comparisons(captures: Mapping[str, Capture], context: LookContext) -> Iterator[Comparison]:
    """Each output's voltage against the generator's times the gain, at the tone where they are nearest: a filter of the
    amplifier's takes from some tones, and adds to none."""
    tones = {role: captures[role] for role in context.tones_hz if role in captures}
    if not tones or context.level_v is None or context.gain is None:
        return
    level = ErrorOf(context.level_accuracy).on(context.level_v)
    u_v = COVERAGE_FACTOR * context.gain * float(level.std_dev)
    gain_db = f"{20.0 * math.log10(context.gain):.3g} dB"
    who = f"{render(context.level_v, 'V', digits=3)} of the generator and {gain_db} of gain make"
    made = Sight(who, context.gain * context.level_v, u_v)
    nearest: dict[str, Sight] = {}
    recorded = next(iter(tones.values())).channels
    for channel in (each for each in recorded if not context.driven or each in context.driven):
        seen = [_seen(capture, channel, context.tones_hz[role], context) for role, capture in tones.items()]
        nearest[channel] = min(seen, key=lambda sight: _apart(sight, made))
    for channel, sight in nearest.items():
        others = [each.value / made.value for name, each in nearest.items() if name != channel]
        cause = cause_of_ratio(sight.value / made.value, context.ratios.get(channel, 1.0), others)
        yield _output(channel, sight, made, f"{cause}. {_CHECK_OUTPUT}")


def _seen(capture: Capture, channel: str, frequency_hz: float, context: LookContext) -> Sight:
    """The RMS of the tone alone, whatever noise and carrier lie on it."""
    signal = OUTPUT + channel
    tone = fit_sine(capture.trace(signal).values(), capture.interval_s, frequency_hz)
    value = Signals(capture, context.accuracy).on_difference(signal, tone.rms)
    return Sight("the oscilloscope shows", tone.rms, COVERAGE_FACTOR * float(value.std_dev))


def _apart(seen: Sight, made: Sight) -> float:
    return abs(math.log(max(seen.value, 1e-12) / made.value))


def _output(channel: str, seen: Sight, made: Sight, check: str) -> Comparison:
    room = seen.uncertainty + made.uncertainty
    least, most = made.value / GAIN_WITHIN - made.value - room, made.value * GAIN_WITHIN - made.value + room
    return Comparison(OUTPUT_VOLTAGE, "V", seen, made, least, most, check, channel)


def records_comparisons(captures: Mapping[str, Capture]) -> Iterator[Comparison]:
    """Two signals with the same code at every sample, which cannot be: no two channels have the same noise."""
    for capture in captures.values():
        for one, other in combinations(capture.traces, 2):
            first, second = capture.traces[one].codes, capture.traces[other].codes
            if np.array_equal(first, second) and np.unique(first[: 1 << 14]).size >= _FEWEST_CODES:
                yield _same_record(one, other, first.size)


def _same_record(one: str, other: str, samples: int) -> Comparison:
    first = Sight(f"samples in which {one} and {other} are alike", float(samples))
    second = Sight("samples of each", float(samples))
    return Comparison(RECORDS, "", first, second, None, -1.0, _CHECK_RECORDS)
