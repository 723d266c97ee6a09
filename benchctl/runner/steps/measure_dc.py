"""measure_dc: the dc at each output of the undriven amplifier, over a time that hum averages out in."""

from __future__ import annotations

from benchctl.documents.sequence_file.measuring_steps import MeasureDc
from benchctl.instruments.oscilloscope.record import Record
from benchctl.measure.analyses.context import IdleContext
from benchctl.runner.acting.drive import mute
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.steps.measure_noise import QUIET_S

# Hum and its harmonics, not the audio band, must be seen to be averaged.
RATE_HZ = 50e3


def perform(step: MeasureDc, run: Run) -> None:
    """One record of all outputs, undriven."""
    mute(run)
    run.wait(QUIET_S)
    record = Record(step.for_s, 0.0, round(step.for_s * RATE_HZ), triggered=False)
    capture = record_taking.take(run, "dc", record, 0.0, record_taking.outputs(run))
    run.analyse("idle", {"idle": capture}, {}, IdleContext(**run.accuracies()), step.expect)


def worst_case(step: MeasureDc, state: ExpectedState) -> WorstCase:
    state.level = None
    return WorstCase(duration_s=QUIET_S + step.for_s + state.asking_s())
