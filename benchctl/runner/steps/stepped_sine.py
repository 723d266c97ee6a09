"""A sine stepped over frequencies, a record at each: what response, filter and crosstalk have in common."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager

import numpy as np

from benchctl.documents.model.level import Level
from benchctl.documents.sequence_file.measuring_steps import SteppedSine
from benchctl.errors import MeasurementError
from benchctl.instruments.oscilloscope.record import Record
from benchctl.measure.signal.frequencies import iso_266_hz, per_octave_hz
from benchctl.measure.signal.record import Capture
from benchctl.quantity import render
from benchctl.runner.acting.drive import mute, set_frequency, tone
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.records.record_check import refuse_coarse_record
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase

# Ten cycles or more for a fit; the shorter the record of a high tone, the finer its samples and so its phase.
CYCLES = 10
SHORTEST_S = 0.004
# A fit wants samples more than it wants a high rate: noise falls with the root of their number.
SAMPLES = 20_000
# A filter of the amplifier's, and its coupling capacitors, have come to rest (common practice).
SETTLE_CYCLES = 5
SHORTEST_SETTLE_S = 0.05
# On average a record waits half a polling period to be fetched, and some are taken twice for a better range.
OVERHEAD_S = 0.05


def frequencies_hz(step: SteppedSine) -> tuple[float, ...]:
    """The preferred frequencies of ISO 266 where it has so many an octave; else exact ones."""
    if step.per_octave in (1, 3):
        return iso_266_hz(step.from_hz, step.to_hz, step.per_octave)
    return per_octave_hz(step.from_hz, step.to_hz, step.per_octave)


def too_few_in_words(step: SteppedSine, frequencies: Sequence[float]) -> str:
    """Why a sweep of so few frequencies tells nothing."""
    span = f"{render(step.from_hz, 'Hz')} to {render(step.to_hz, 'Hz')}"
    return (
        f"of {step.per_octave} frequencies an octave there {'is' if len(frequencies) == 1 else 'are'} "
        f"{len(frequencies) or 'none'} from {span}; widen that, or take more an octave"
    )


def role_of(frequency_hz: float) -> str:
    """The name of the record at a frequency."""
    return f"{frequency_hz:.6g} Hz"


def sweep(  # noqa: PLR0917 - what a sweep is made of
    run: Run,
    frequencies: Sequence[float],
    level_v: float,
    signals: Sequence[str],
    first_peaks: Mapping[str, float] | None = None,
    shortest_s: float = SHORTEST_S,
    called: str = "",
) -> dict[str, Capture]:
    """A record of `signals` at each frequency, by role; the generator is left muted and tuned as it was.

    `called`: what the records are called, instead of the step's kind. `shortest_s`: of a record; of the same number of
    samples a shorter one is finer, and so is its phase.
    `first_peaks`: signal -> the peak to expect of it at the first frequency, where it is not that of the nominal gain.
    """
    captures: dict[str, Capture] = {}
    peaks = dict(first_peaks or {})
    with left_as_it_was(run):
        for number, frequency_hz in enumerate(frequencies, start=1):
            set_frequency(run, frequency_hz)
            tone(run, level_v)
            run.wait(_settle_s(frequency_hz))
            name = f"{called or run.planned.step.kind} {role_of(frequency_hz)}"
            capture = record_taking.take(run, name, _record(frequency_hz, shortest_s), level_v, signals, peaks)
            captures[role_of(frequency_hz)] = capture
            # A filter's next gain is near this one, however far from the nominal one.
            peaks = {signal: float(np.max(np.abs(trace.values()))) for signal, trace in capture.traces.items()}
            run.observer.progress(f"{role_of(frequency_hz)}, {number} of {len(frequencies)}")
    return captures


@contextmanager
def left_as_it_was(run: Run) -> Iterator[None]:
    """Mute and tune the generator as it was, also where a record fails: the run goes on after that."""
    before_hz = run.conditions.frequency_hz
    try:
        yield
    except MeasurementError:
        _mute_and_tune(run, before_hz)
        raise
    _mute_and_tune(run, before_hz)


def _mute_and_tune(run: Run, frequency_hz: float | None) -> None:
    mute(run)
    if frequency_hz is None:
        run.set_to(frequency_hz=None)
    else:
        set_frequency(run, frequency_hz)


def tones_hz(frequencies: Sequence[float]) -> Mapping[str, float]:
    """Role -> frequency, as an analysis takes it."""
    return {role_of(frequency_hz): frequency_hz for frequency_hz in frequencies}


def _settle_s(frequency_hz: float) -> float:
    return max(SETTLE_CYCLES / frequency_hz, SHORTEST_SETTLE_S)


def _record(frequency_hz: float, shortest_s: float = SHORTEST_S) -> Record:
    cycles = max(CYCLES, math.ceil(shortest_s * frequency_hz))
    return Record(cycles / frequency_hz, 0.0, SAMPLES)


def refuse_beyond_generator(state: ExpectedState, frequency_hz: float) -> None:
    """Note a hazard where a frequency is more than the generator gives."""
    generator = state.bench.instruments.generator
    if generator is not None and frequency_hz > generator.ratings.frequency_hz:
        state.hazard(
            f"{render(frequency_hz, 'Hz')} is more than the generator gives; "
            f"stay within {render(generator.ratings.frequency_hz, 'Hz')}"
        )


def worst_case_sweep(
    state: ExpectedState, frequencies: Sequence[float], level: Level, *, retaken: float = 0.0
) -> WorstCase:
    """How long a sweep takes, and what it puts into the load; `retaken`: the part of records taken again."""
    state.level = None
    refuse_beyond_generator(state, max(frequencies))
    refuse_coarse_record(state, _record(max(frequencies)), max(frequencies), "end at a lower frequency")
    asking_s = state.asking_s() + state.pace.set_s
    lasts_s = sum(record_taking.lasts_s(_record(f), state.bench) for f in frequencies)
    record_s = lasts_s + sum(0.5 / f + OVERHEAD_S + asking_s for f in frequencies)
    duration_s = sum(map(_settle_s, frequencies)) + (1.0 + retaken) * record_s
    return WorstCase(duration_s=duration_s, **state.tone(level, for_s=duration_s))
