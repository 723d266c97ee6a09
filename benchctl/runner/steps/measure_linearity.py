"""measure_linearity: the gain at levels from far below rated power up to it, against that at a reference level."""

from __future__ import annotations

import numpy as np

from benchctl.documents.sequence_file.measuring_steps import MeasureLinearity
from benchctl.measure.analyses.linearity_figures import REFERENCE, LinearityContext
from benchctl.measure.signal.record import Capture
from benchctl.quantity import render
from benchctl.runner.acting.agreement import before_power, worst_case_look
from benchctl.runner.acting.drive import load_and_frequency, mute, tone
from benchctl.runner.acting.inputs import feed, worst_case_feed
from benchctl.runner.acting.levels import level_in_v
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.steps.find_clean_level import SETTLE_S, refuse_coarse_tone


def perform(step: MeasureLinearity, run: Run) -> None:
    """A record at the reference level, then one at each level from the lowest up.

    Raises:
        MeasurementError: a level follows from something that is not known.
    """
    feed(run)
    load_ohm, frequency_hz = load_and_frequency(run)
    lowest_v, highest_v, reference_v = (
        level_in_v(run, level, load_ohm) for level in (step.lowest, step.highest, step.reference)
    )
    before_power(run, highest_v)
    settable = run.bench.generator.settable
    levels_v = {REFERENCE: reference_v}
    for asked_v in np.geomspace(lowest_v, highest_v, step.levels).tolist():
        levels_v[render(settable(asked_v), "V")] = settable(asked_v)
    captures: dict[str, Capture] = {}
    for number, (role, level_v) in enumerate(levels_v.items(), start=1):
        captures[role] = _take(run, role, frequency_hz, level_v)
        run.observer.progress(f"{render(level_v, 'V')}, {number} of {len(levels_v)}")
    context = LinearityContext(frequency_hz=frequency_hz, levels_v=levels_v, **run.accuracies())
    run.analyse("linearity", captures, {}, context, step.expect)


def _take(run: Run, name: str, frequency_hz: float, level_v: float) -> Capture:
    """A record on the finest range, with rest after it."""
    tone(run, level_v)
    run.wait(SETTLE_S)
    run.bench.oscilloscope.forget_ranges()
    record = record_taking.steady_record(frequency_hz)
    signals = record_taking.driven_outputs(run)
    capture = record_taking.take(run, f"{run.planned.step.kind} {name}", record, level_v, signals)
    mute(run)
    return capture


def worst_case(step: MeasureLinearity, state: ExpectedState) -> WorstCase:
    worst_case_feed(state, None)
    state.level = None
    frequency_hz = state.frequency_hz or 1000.0
    refuse_coarse_tone(state, frequency_hz)
    lasts_s = record_taking.lasts_s(record_taking.steady_record(frequency_hz), state.bench)
    each_s = SETTLE_S + lasts_s + record_taking.FETCH_S + state.asking_s() + 2 * state.pace.switch_s
    duration_s = worst_case_look(state, step.highest) + (step.levels + 1) * each_s
    return WorstCase(duration_s=duration_s, **state.tone(step.highest, for_s=each_s))
