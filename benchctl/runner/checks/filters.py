"""Whether a step measures at a frequency where the amplifier's crossover filters leave no signal."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.sequence_file.bench_steps import Set
from benchctl.documents.sequence_file.measuring_steps import MeasureDamping, SteppedSine
from benchctl.documents.sequence_file.signal_steps import MeasureIntermodulation, MeasurePolarity, MeasureSquare
from benchctl.documents.sequence_file.step_base import StepBase
from benchctl.quantity import render
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.steps.measure_damping import frequencies_hz as stepped_in_damping_hz
from benchctl.runner.steps.stepped_sine import frequencies_hz

# Common practice: a thousandth of the output is less than the noise of an 8-bit oscilloscope, or than the carrier's
# residue.
SEEN_DB = -60.0


def hazards_of(step: StepBase, state: ExpectedState) -> Iterator[str]:
    """No channel of the amplifier gives a signal at any frequency of the step."""
    frequencies = _frequencies_hz(step, state)
    if frequencies and not any(_is_seen(state.amplifier, each) for each in frequencies):
        nearest_hz = max(frequencies, key=lambda each: _left_db(state.amplifier, each))
        yield (
            f"at {render(nearest_hz, 'Hz')} the amplifier's {_in_words(state.amplifier)} leaves "
            f"{_left_db(state.amplifier, nearest_hz):.0f} dB, which cannot be told from noise; use a frequency that it "
            f"passes, such as {render(_passed_hz(state.amplifier), 'Hz', digits=2)}, or switch it off and take it out "
            "of 'filters' in the amplifier file"
        )


def notes_of(step: StepBase, state: ExpectedState) -> Iterator[str]:
    """Some frequencies of a sweep lie far outside the band."""
    if not isinstance(step, SteppedSine):
        return
    frequencies = frequencies_hz(step)
    unseen = [each for each in frequencies if not _is_seen(state.amplifier, each)]
    if unseen and len(unseen) < len(frequencies):
        yield (
            f"{len(unseen)} of {len(frequencies)} frequencies ({render(min(unseen), 'Hz')} to "
            f"{render(max(unseen), 'Hz')}) lie where the amplifier's {_in_words(state.amplifier)} leaves less than "
            f"{SEEN_DB:.0f} dB: there the gain is at most so much, and no figure"
        )


def _frequencies_hz(step: StepBase, state: ExpectedState) -> Sequence[float]:
    """The frequencies of which a step must see one at the outputs; of a square wave and of two tones, the one that is
    least likely to be seen."""
    match step:
        case SteppedSine():
            return frequencies_hz(step)
        case MeasurePolarity():
            return step.frequencies_hz
        case MeasureSquare():
            return [max(step.frequencies_hz)]
        case MeasureIntermodulation():
            return [max(step.pair_hz, key=lambda tone_hz: -_left_db(state.amplifier, tone_hz))]
        case MeasureDamping() if step.from_hz is not None:
            return stepped_in_damping_hz(step)
    needs_one = "frequency" in step.STATE and not isinstance(step, Set)
    return [state.frequency_hz] if needs_one and state.frequency_hz is not None else []


def _is_seen(amplifier: Amplifier, frequency_hz: float) -> bool:
    return _left_db(amplifier, frequency_hz) >= SEEN_DB


def _left_db(amplifier: Amplifier, frequency_hz: float) -> float:
    """What is left at the channel that gives most."""
    return max(amplifier.filtered_db(channel, frequency_hz) for channel in amplifier.channels)


def _in_words(amplifier: Amplifier) -> str:
    return " and ".join(f"{each.kind} of {render(each.corner_hz, 'Hz')}" for each in amplifier.filters)


def _passed_hz(amplifier: Amplifier) -> float:
    """A frequency that passes: an octave inside the band, or the band's middle."""
    low_hz = max((each.corner_hz for each in amplifier.filters if each.kind == "high-pass"), default=None)
    high_hz = min((each.corner_hz for each in amplifier.filters if each.kind == "low-pass"), default=None)
    if low_hz is not None and high_hz is not None:
        return math.sqrt(low_hz * high_hz)
    return high_hz / 2.0 if high_hz is not None else 2.0 * (low_hz or 0.0)
