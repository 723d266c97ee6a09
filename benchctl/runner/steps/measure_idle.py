"""measure_idle: what the undriven amplifier draws, and the dc at its outputs."""

from __future__ import annotations

from benchctl.documents.sequence_file.measuring_steps import MeasureIdle
from benchctl.measure.analyses.context import IdleContext
from benchctl.runner.acting.drive import mute
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.run import Run
from benchctl.runner.acting.terminals import terminal_readings
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase

SAMPLE_EVERY_S = 0.25


def perform(step: MeasureIdle, run: Run) -> None:
    """Average the supply's readings over the step's time, then look at the outputs."""
    mute(run)
    readings: dict[str, list[float]] = {"supply_current": [], "supply_voltage": []}
    for _ in run.paced(SAMPLE_EVERY_S, step.for_s):
        for signal, value in run.read_supply().items():
            readings[signal].append(value)
    capture = record_taking.take(
        run, "idle", record_taking.idle_record(), 0.0, [*record_taking.outputs(run), *record_taking.supply_signals(run)]
    )
    readings |= run.temperatures() | terminal_readings(run)
    run.analyse("idle", {"idle": capture}, readings, IdleContext(**run.accuracies()), step.expect)


def worst_case(step: MeasureIdle, state: ExpectedState) -> WorstCase:
    state.level = None
    asking_s = state.asking_s(with_supply=True) + state.temperatures_s(heatsink=1, ambient=1)
    return WorstCase(duration_s=step.for_s + record_taking.IDLE_SPAN_S + asking_s)
