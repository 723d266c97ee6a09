"""measure_input_impedance: how far a known resistor in series with the inputs lowers the outputs."""

from __future__ import annotations

from benchctl.documents.sequence_file.signal_steps import MeasureInputImpedance
from benchctl.documents.text.words import listed
from benchctl.measure.analyses.input_impedance_figures import DIRECT, DIRECT_AGAIN, SERIES, InputImpedanceContext
from benchctl.measure.signal.record import Capture
from benchctl.quantity import render
from benchctl.runner.acting.drive import load_and_frequency, mute, tone
from benchctl.runner.acting.inputs import feed, worst_case_feed
from benchctl.runner.acting.levels import level_in_v
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.records.record_check import refuse_coarse_record
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.steps.find_clean_level import SETTLE_S
from benchctl.runner.steps.measure_polarity import SMALL


def perform(step: MeasureInputImpedance, run: Run) -> None:
    """A record without the resistor, with it, and without it again."""
    feed(run)
    load_ohm, frequency_hz = load_and_frequency(run)
    level_v = level_in_v(run, step.level or SMALL, load_ohm)
    captures: dict[str, Capture] = {}
    for role in (DIRECT, SERIES, DIRECT_AGAIN):
        if role != DIRECT:
            _ask(run, step.resistor_ohm if role == SERIES else None)
        captures[role] = _record(run, role, frequency_hz, level_v)
    context = InputImpedanceContext(
        frequency_hz=frequency_hz,
        resistor_ohm=step.resistor_ohm,
        resistor_accuracy=step.resistor_accuracy,
        **run.accuracies(),
    )
    run.analyse("input_impedance", captures, {}, context, step.expect)


def _record(run: Run, role: str, frequency_hz: float, level_v: float) -> Capture:
    tone(run, level_v)
    run.wait(SETTLE_S)
    record = record_taking.steady_record(frequency_hz)
    capture = record_taking.take(run, f"input {role}", record, level_v, record_taking.driven_outputs(run))
    mute(run)
    return capture


def _ask(run: Run, resistor_ohm: float | None) -> None:
    inputs = f"input{'' if len(run.fed) == 1 else 's'} {listed(run.fed)}"
    if resistor_ohm is None:
        request = f"Take the resistor out again: connect the generator to {inputs} directly"
    else:
        each = "" if len(run.fed) == 1 else " a resistor of its own for each,"
        request = f"Put {render(resistor_ohm, 'ohm')} in series with the lead to {inputs},{each} at the amplifier's end"
    run.observer.hands_needed(f"{request}. The amplifier is on, without a signal")
    run.hands.series(resistor_ohm)
    run.recorder.hands(request, {})


def worst_case(step: MeasureInputImpedance, state: ExpectedState) -> WorstCase:
    worst_case_feed(state, None)
    if state.unattended:
        state.hazard(
            "a person puts a resistor in series with the inputs, and nobody is present in an unattended run; "
            "be present, or leave the step out"
        )
    state.level = None
    frequency_hz = state.frequency_hz or 1000.0
    record = record_taking.steady_record(frequency_hz)
    refuse_coarse_record(state, record, frequency_hz)
    asking_s = state.pace.switch_s + state.asking_s()
    each_s = SETTLE_S + record_taking.lasts_s(record, state.bench) + record_taking.FETCH_S + asking_s
    return WorstCase(duration_s=3 * each_s, **state.tone(step.level or SMALL, for_s=each_s))
