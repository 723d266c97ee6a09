"""measure_turn_on: the undriven amplifier is put to sleep and woken again, and a record runs through each."""

from __future__ import annotations

import math
from functools import partial

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import TurnOnByHand
from benchctl.documents.sequence_file.supply_steps import MeasureTurnOn
from benchctl.errors import InstrumentError, MeasurementError
from benchctl.instruments.oscilloscope.record import Record
from benchctl.measure.analyses.turn_on_figures import OFF, ON, TurnOnContext
from benchctl.measure.budget.zero import subtracted
from benchctl.measure.signal.record import SUPPLY_CURRENT, Capture
from benchctl.runner.acting.agreement import look_at_idle, worst_case_look_at_idle
from benchctl.runner.acting.drive import connected_load_ohm, mute
from benchctl.runner.acting.inputs import feed
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.run import Run
from benchctl.runner.acting.waking import ADVICE, switch_lead, why_asleep
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase

# Fine enough for a peak within 20 kHz; a record of seconds.
RATE_HZ = 100e3
# Beyond the plate's turn-on delay: a converter may start late, and a thump lasts some tenths of a second.
BEYOND_DELAY_S = 2.0
OFF_S = 1.5
# Of the fuse's rating, what an inrush may peak at before its range must be wider.
PEAK_OVER_FUSE = 2.0
# So often the amplifier is switched again because a range was too narrow, and by how much it is widened.
ATTEMPTS = 3
WIDER = 4.0
IDLES_S = 1.0


def perform(step: MeasureTurnOn, run: Run) -> None:
    """Off and on again; and once more on wider ranges where something went beyond them.

    Raises:
        MeasurementError: the oscilloscope takes no record without a trigger.
        InstrumentError: the amplifier does not wake again.
    """
    if not run.bench.oscilloscope.records_freely:
        raise MeasurementError("the oscilloscope takes no record without a trigger, so it cannot wait for a thump")
    load_ohm = connected_load_ohm(run)
    mute(run)
    feed(run)
    peaks = dict.fromkeys(record_taking.outputs(run), step.expected_v)
    if SUPPLY_CURRENT in run.bench.oscilloscope.inputs:
        peaks[SUPPLY_CURRENT] = PEAK_OVER_FUSE * run.files.amplifier.supply.fuse_a
    for _ in range(ATTEMPTS):
        captures = _off_and_on(step, run, peaks)
        clipped = {name for each in captures.values() for name, trace in each.traces.items() if trace.is_clipped}
        if not clipped:
            break
        peaks |= {name: WIDER * peaks[name] for name in clipped}
    _look_awake(run)
    context = TurnOnContext(loads=run.loads(load_ohm), **run.accuracies())
    run.analyse("turn_on", captures, {}, context, step.expect)


def _off_and_on(step: MeasureTurnOn, run: Run, peaks: dict[str, float]) -> dict[str, Capture]:
    run.guard.energised = False
    off = _record(run, "turn-off", OFF_S, peaks, on=False)
    run.wait(step.rest_s)
    on = _record(run, "turn-on", _on_s(step, run.files.amplifier), peaks, on=True)
    return {OFF: off, ON: on}


def _record(run: Run, name: str, for_s: float, peaks: dict[str, float], *, on: bool) -> Capture:
    wanted = record_taking.within_ratings(_of(for_s), run.files.bench)
    switch = partial(switch_lead, run, on=on)
    raw = run.bench.oscilloscope.capture_during(name, peaks, wanted, switch)
    return record_taking.in_conditions(run, subtracted(raw, run.zeros or {}))


def _of(for_s: float) -> Record:
    return Record(for_s, 0.0, math.ceil(for_s * RATE_HZ), triggered=False)


def _on_s(step: MeasureTurnOn, amplifier: Amplifier) -> float:
    delay_s = amplifier.remote_turn_on.delay_s if amplifier.remote_turn_on is not None else 0.0
    return step.for_s or delay_s + BEYOND_DELAY_S


def _look_awake(run: Run) -> None:
    """As after every waking: it draws what it should, and nothing contradicts itself."""
    run.wait(IDLES_S)
    if reason := why_asleep(run, run.read("supply_current")):
        raise InstrumentError(reason, advice=ADVICE)
    look_at_idle(run)
    run.guard.energised = True


def worst_case(step: MeasureTurnOn, state: ExpectedState) -> WorstCase:
    state.level = None
    if isinstance(state.bench.turn_on_lead_of(state.amplifier), TurnOnByHand):
        state.hazard(
            "the remote turn-on lead is switched by hand, and no record can wait for a hand; feed it from a supply "
            "output or a relay, or leave the step out"
        )
    asked_s = 2.0 * state.asking_s(with_supply=True) + state.pace.supply_s(2.0, 1.0)
    on_s = _on_s(step, state.amplifier)
    once_s = OFF_S + step.rest_s + on_s + 2.0 * record_taking.FETCH_S + asked_s
    ends_s = IDLES_S + worst_case_look_at_idle(state)
    return WorstCase(duration_s=once_s + ends_s, at_most_s=ATTEMPTS * once_s + ends_s, likely_s=once_s + ends_s)
