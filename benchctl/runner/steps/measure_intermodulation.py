"""measure_intermodulation: two tones at once, and the products that the amplifier makes of them."""

from __future__ import annotations

import math
from itertools import pairwise

from benchctl.documents.sequence_file.signal_steps import MeasureIntermodulation
from benchctl.errors import MeasurementError
from benchctl.instruments.bursts.two_tones import TwoTones
from benchctl.instruments.oscilloscope.record import Record
from benchctl.measure.analyses.intermodulation_figures import (
    INTERMODULATION,
    IntermodulationContext,
    all_products_hz,
    definitions_in_words,
)
from benchctl.measure.signal.record import Capture
from benchctl.runner.acting.agreement import before_power, worst_case_look
from benchctl.runner.acting.drive import back_to_sine, connected_load_ohm, mute, two_tones
from benchctl.runner.acting.inputs import feed, worst_case_feed
from benchctl.runner.acting.levels import level_in_v
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.records.record_check import refuse_coarse_record
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.levels import QUIET
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.steps import stepped_sine
from benchctl.runner.steps.find_clean_level import SETTLE_S

# The higher tone's part of the peak: IEC 60268-3, 14.12.7 has a quarter of the lower one; 14.12.8 has both equal.
SHARES = {"modulation": 0.2, "difference": 0.5}
# So many periods of the lowest difference of two frequencies, and a record no shorter than this.
PERIODS = 8
SHORTEST_S = 0.1
# Many samples for each product's sake; harmonics of the tones that fold stay off the products.
SAMPLES_A_CYCLE = 10
FEWEST_SAMPLES = 50_000


def perform(step: MeasureIntermodulation, run: Run) -> None:
    """One record of all outputs under both tones; then the sine as it was."""
    feed(run)
    load_ohm, before_hz = connected_load_ohm(run), run.conditions.frequency_hz
    level_v = level_in_v(run, step.level or QUIET, load_ohm)
    before_power(run, level_v)
    low_hz, high_hz = step.pair_hz
    try:
        two_tones(run, TwoTones(low_hz, high_hz, SHARES[step.method], level_v))
        run.wait(SETTLE_S)
        capture = _take(step, run, level_v)
        mute(run)
        _analyse(step, run, capture)
    except MeasurementError:  # the run goes on after that
        back_to_sine(run, before_hz)
        raise
    back_to_sine(run, before_hz)


def _analyse(step: MeasureIntermodulation, run: Run, capture: Capture) -> None:
    """While no single frequency is set: the figures hold at none."""
    for text in definitions_in_words(step.method):
        run.note(text)
    generator = run.files.bench.instruments.generator
    context = IntermodulationContext(
        method=step.method,
        tones_hz=step.pair_hz,
        generator_distortion=0.0 if generator is None else generator.ratings.distortion,
        **run.accuracies(),
    )
    run.analyse("intermodulation", {INTERMODULATION: capture}, {}, context, step.expect)


def _take(step: MeasureIntermodulation, run: Run, level_v: float) -> Capture:
    name = f"intermodulation {step.method}"
    return record_taking.take(run, name, _record(step), level_v, record_taking.driven_outputs(run))


def _frequencies_hz(step: MeasureIntermodulation) -> list[float]:
    return sorted([0.0, *step.pair_hz, *all_products_hz(step.method, step.pair_hz)])


def _record(step: MeasureIntermodulation) -> Record:
    """Whole common periods of all frequencies."""
    frequencies_hz = _frequencies_hz(step)
    nearest_hz = min(after - before for before, after in pairwise(frequencies_hz))
    common_hz = TwoTones(*step.pair_hz, high_share=0.5, level_v=1.0).common_hz
    span_s = math.ceil(max(PERIODS / nearest_hz, SHORTEST_S) * common_hz) / common_hz
    return Record(span_s, 0.0, max(FEWEST_SAMPLES, math.ceil(SAMPLES_A_CYCLE * frequencies_hz[-1] * span_s)))


def worst_case(step: MeasureIntermodulation, state: ExpectedState) -> WorstCase:
    worst_case_feed(state, None)
    state.level = None
    record = _record(step)
    stepped_sine.refuse_beyond_generator(state, step.pair_hz[1])
    refuse_coarse_record(state, record, max(_frequencies_hz(step)), "take lower tones")
    asking_s = state.pace.switch_s + state.pace.set_s + state.asking_s()
    for_s = SETTLE_S + record_taking.lasts_s(record, state.bench) + record_taking.FETCH_S + asking_s
    power = state.tone(step.level or QUIET, for_s=for_s)
    return WorstCase(duration_s=for_s + worst_case_look(state, step.level or QUIET), **power)
