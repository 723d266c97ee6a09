"""measure_noise: the noise at the outputs while nothing drives the amplifier."""

from __future__ import annotations

from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.sequence_file.measuring_steps import MeasureNoise
from benchctl.instruments.oscilloscope.record import Record
from benchctl.measure.analyses.noise_figures import PART_S, NoiseContext
from benchctl.measure.signal.noise import AUDIO_BAND_HZ
from benchctl.runner.acting import record_taking
from benchctl.runner.acting.drive import connected_load_ohm, mute
from benchctl.runner.acting.record_check import refuse_coarse_record
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase

# What a tone before it left in coupling capacitors has gone (common practice).
QUIET_S = 0.5
# A band up to 20 kHz wants 40 kSa/s and more; the faster, the less of what lies above it is folded into it.
SLOWEST_HZ = 100e3


def perform(step: MeasureNoise, run: Run) -> None:
    """One long record of all outputs, undriven."""
    load_ohm = connected_load_ohm(run)
    mute(run)
    run.wait(QUIET_S)
    capture = record_taking.take(run, "noise", _record(step, run.files.bench), 0.0, record_taking.outputs(run))
    rating = run.files.amplifier.rating(load_ohm)
    context = NoiseContext(
        load_ohm=load_ohm, rated_w=rating.power_w if rating is not None else None, **run.accuracies()
    )
    run.analyse("noise", {"noise": capture}, {}, context, step.expect)


def _record(step: MeasureNoise, bench: Bench) -> Record:
    """As long as asked for and at least a part; no longer than memory holds at the slowest rate."""
    samples = record_taking.longest_samples(bench)
    longest_s = PART_S if samples is None else samples / SLOWEST_HZ
    span_s = max(min(step.for_s, longest_s), PART_S)
    return Record(span_s, 0.0, round(span_s * record_taking.SAMPLE_RATE_HZ), triggered=False)


def worst_case(step: MeasureNoise, state: ExpectedState) -> WorstCase:
    state.level = None
    record = _record(step, state.bench)
    refuse_coarse_record(state, record, max(AUDIO_BAND_HZ), "leave the step out")
    return WorstCase(duration_s=QUIET_S + record_taking.lasts_s(record, state.bench) + state.asking_s())
