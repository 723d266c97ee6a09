"""measure_damping: output impedance and damping factor from the voltage into two loads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from benchctl.documents.sequence_file.measuring_steps import MeasureDamping
from benchctl.measure.analyses.damping_figures import HEAVY, LIGHT, LIGHT_AGAIN, DampingContext
from benchctl.measure.analyses.damping_sweep_figures import DampingSweepContext, role_of
from benchctl.measure.signal.frequencies import per_octave_hz
from benchctl.measure.signal.record import Capture
from benchctl.measure.uncertainty import LoadResistance
from benchctl.runner.acting.drive import QUIET_S, RELAY_S, mute, tone, tuned_hz
from benchctl.runner.acting.inputs import feed, worst_case_feed
from benchctl.runner.acting.levels import level_in_v
from benchctl.runner.acting.load_change import set_load, take_load_off
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.records.record_check import refuse_coarse_record
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.levels import QUIET
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.steps import stepped_sine
from benchctl.runner.steps.find_clean_level import SETTLE_S

# Of a sweep's records: shorter than of a response, because an inductance shows only in the phase.
SHORTEST_S = 0.001


def perform(step: MeasureDamping, run: Run) -> None:
    """Records with the lighter load or none, the heavier, and the lighter again; the load is left as it was."""
    feed(run)
    if frequencies := frequencies_hz(step):
        _perform_sweep(step, run, frequencies)
    else:
        _perform_once(step, run)


def _perform_sweep(step: MeasureDamping, run: Run, frequencies: Sequence[float]) -> None:
    before_ohm = run.conditions.load_ohm
    light_ohm, heavy_ohm = light_and_heavy_ohm(step)
    level_v = level_in_v(run, step.level or QUIET, heavy_ohm)
    captures: dict[str, Capture] = {}
    loads: dict[str, dict[str, LoadResistance]] = {}
    for load, load_ohm in ((LIGHT, light_ohm), (HEAVY, heavy_ohm), (LIGHT_AGAIN, light_ohm)):
        _connect(run, load_ohm)
        signals = record_taking.driven_outputs(run)
        taken = stepped_sine.sweep(run, frequencies, level_v, signals, shortest_s=SHORTEST_S, called=f"damping {load}")
        captures |= {role_of(load, tone_role): capture for tone_role, capture in taken.items()}
        loads[load] = {} if load_ohm is None else run.loads(load_ohm)
    if before_ohm is not None:
        set_load(run, before_ohm)
    context = DampingSweepContext(
        tones_hz=stepped_sine.tones_hz(frequencies), light=loads[LIGHT_AGAIN], heavy=loads[HEAVY], **run.accuracies()
    )
    run.analyse("damping_sweep", captures, {}, context, step.expect)


def frequencies_hz(step: MeasureDamping) -> tuple[float, ...]:
    """The exact frequencies of IEC 61260, so many an octave; none where only the one that is set is measured."""
    if step.from_hz is None or step.to_hz is None:
        return ()
    return per_octave_hz(step.from_hz, step.to_hz, step.per_octave)


def _connect(run: Run, load_ohm: float | None) -> None:
    if load_ohm is None:
        take_load_off(run)
    else:
        set_load(run, load_ohm)


def _perform_once(step: MeasureDamping, run: Run) -> None:
    frequency_hz = tuned_hz(run)
    before_ohm = run.conditions.load_ohm
    light_ohm, heavy_ohm = light_and_heavy_ohm(step)
    level_v = level_in_v(run, step.level or QUIET, heavy_ohm)
    captures: dict[str, Capture] = {}
    loads: dict[str, dict[str, LoadResistance]] = {}
    for role, load_ohm in ((LIGHT, light_ohm), (HEAVY, heavy_ohm), (LIGHT_AGAIN, light_ohm)):
        _connect(run, load_ohm)
        tone(run, level_v)
        run.wait(SETTLE_S)
        record = record_taking.steady_record(frequency_hz)
        captures[role] = record_taking.take(run, f"damping {role}", record, level_v, record_taking.driven_outputs(run))
        loads[role] = {} if load_ohm is None else run.loads(load_ohm)
        mute(run)
    if before_ohm is not None:
        set_load(run, before_ohm)
    context = DampingContext(
        frequency_hz=frequency_hz, light=loads[LIGHT_AGAIN], heavy=loads[HEAVY], **run.accuracies()
    )
    run.analyse("damping", captures, {}, context, step.expect)


def light_and_heavy_ohm(step: MeasureDamping) -> tuple[float | None, float]:
    """The loads; None for none at all."""
    return (max(step.loads_ohm) if len(step.loads_ohm) > 1 else None), min(step.loads_ohm)


def worst_case(step: MeasureDamping, state: ExpectedState) -> WorstCase:
    worst_case_feed(state, None)
    light_ohm, heavy_ohm = light_and_heavy_ohm(step)
    before_ohm = state.load_ohm
    state.change_load_by_hand()
    state.level, state.load_ohm = None, heavy_ohm
    # To the heavier and back, and before and after that from what was connected.
    switches = 2 + (before_ohm != light_ohm) + (before_ohm not in (None, light_ohm))
    switching_s = switches * (QUIET_S + RELAY_S)
    if frequencies := frequencies_hz(step):
        once = stepped_sine.worst_case_sweep(state, frequencies, step.level or QUIET)
        state.load_ohm = before_ohm or light_ohm
        return replace(once, duration_s=3 * once.duration_s + switching_s)
    frequency_hz = state.frequency_hz or 1000.0
    record = record_taking.steady_record(frequency_hz)
    refuse_coarse_record(state, record, frequency_hz)
    asking_s = state.pace.switch_s + state.asking_s()
    each_s = SETTLE_S + record_taking.lasts_s(record, state.bench) + record_taking.FETCH_S + asking_s
    power = state.tone(step.level or QUIET, for_s=each_s)
    state.load_ohm = before_ohm or light_ohm
    return WorstCase(duration_s=3 * each_s + switching_s, **power)
