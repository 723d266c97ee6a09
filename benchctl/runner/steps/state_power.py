"""state_power: the clean power at exactly one voltage at the terminals, from powers at two supply voltages."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from benchctl.documents.bench_file.sight import reads_terminals
from benchctl.documents.model.criteria import Criterion
from benchctl.documents.sequence_file.power_steps import FindCleanLevel, StatePower
from benchctl.errors import MeasurementError
from benchctl.measure.analyses.stated_power import HIGHER, LOWER, StatedContext
from benchctl.measure.signal.record import Capture
from benchctl.quantity import render
from benchctl.runner.acting.drive import load_and_frequency, mute, tone
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.run import CleanLevel, Run
from benchctl.runner.acting.terminals import (
    need_sight_of_terminals,
    readings_now,
    set_supply,
    worst_case_settling,
)
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.steps import find_clean_level
from benchctl.runner.steps.find_clean_level import SETTLE_S, steady_context

# Readings of a supply that senses have come to rest by then.
HOLD_S = 1.0


def perform(step: StatePower, run: Run) -> None:
    """The higher voltage first, so that the bench is left as it was found.

    Raises:
        MeasurementError: the records cannot give the figures, or a level is only a bound.
        RequirementFailed: protection silenced the amplifier, and the sequence asks for the run to end then.
    """
    load_ohm, frequency_hz = load_and_frequency(run)
    set_v = run.conditions.supply_set_v or 0.0
    captures: dict[str, Capture] = {}
    readings: dict[str, list[float]] = {}
    level_us: dict[str, float] = {}
    try:
        for role, voltage_v in ((HIGHER, set_v + step.higher_by_v), (LOWER, set_v)):
            set_supply(run, voltage_v)
            found = _search(step, run)
            level_us[role] = found.level_u
            captures[role], read = _at_level(run, found, frequency_hz, role)
            readings |= {f"{name}_{role}": values for name, values in read.items()}
    finally:
        if run.conditions.supply_set_v != set_v:
            set_supply(run, set_v)
    context = StatedContext(**vars(steady_context(run, load_ohm, frequency_hz)), voltage_v=step.at_v, level_us=level_us)
    held = run.conditions
    run.set_to(supply_set_v=step.at_v, supply_at="stated")
    try:
        run.analyse("stated_power", captures, readings, context, _criteria(step, run, load_ohm))
    finally:
        run.conditions = held


def _search(step: StatePower, run: Run) -> CleanLevel:
    find_clean_level.perform(_as_search(step), run)
    found = run.clean_level(*load_and_frequency(run))
    assert found is not None, "a search leaves a level or raises"
    if found.at_least:
        reason = next(iter(found.at_least.values()))
        raise MeasurementError(
            f"the clean power at {render(run.conditions.supply_set_v or 0.0, 'V')} is only a bound: {reason}"
        )
    return found


def _as_search(step: StatePower) -> FindCleanLevel:
    asked = step.model_dump(include=set(FindCleanLevel.model_fields) - {"kind"})
    return FindCleanLevel.model_construct(**asked)


def _at_level(run: Run, found: CleanLevel, frequency_hz: float, role: str) -> tuple[Capture, dict[str, list[float]]]:
    """A record of the tone at its clean level, and what is read at the terminals meanwhile."""
    tone(run, found.level_v, "clean", found.thd_n)
    run.wait(SETTLE_S)
    readings = readings_now(run, after_s=HOLD_S)
    signals = [*record_taking.driven_outputs(run), *record_taking.supply_signals(run)]
    record = record_taking.steady_record(frequency_hz)
    capture = record_taking.take(run, f"stated {role}", record, found.level_v, signals)
    mute(run)
    return capture, readings


def _criteria(step: StatePower, run: Run, load_ohm: float) -> Mapping[str, Criterion]:
    """The step's own criteria, and under them the plate's, which holds for all channels at the nominal voltage."""
    rating, amplifier = run.files.amplifier.rating(load_ohm), run.files.amplifier
    if rating is None or run.fed != tuple(amplifier.channels) or step.at_v != amplifier.supply.nominal_v:
        return step.expect
    if step.thd_n > rating.thd_n:
        return step.expect
    return {"stated_power": Criterion(relation="above", bound=rating.power_w, unit="W"), **step.expect}


def worst_case(step: StatePower, state: ExpectedState) -> WorstCase:
    need_sight_of_terminals(state, "state_power", "leave the step out")
    set_v = state.supply_v or state.amplifier.supply.nominal_v
    highest_v = set_v + step.higher_by_v
    supply = state.bench.instruments.supply
    bears_v = min(state.amplifier.supply.maximum_v, supply.main.voltage_v if supply is not None else highest_v)
    if highest_v > bears_v:
        state.hazard(
            f"the supply would be set to {render(highest_v, 'V')}, and amplifier and supply allow no more than "
            f"{render(bears_v, 'V')}; give a smaller 'higher_by', or a lower voltage before this step"
        )
    state.supply_v = highest_v
    higher = find_clean_level.worst_case(_as_search(step), state)
    state.supply_v = set_v
    lower = find_clean_level.worst_case(_as_search(step), state)
    record_s = record_taking.lasts_s(record_taking.steady_record(state.frequency_hz or 1e3), state.bench)
    reads_s = HOLD_S if reads_terminals(state.bench) else 0.0
    each_s = SETTLE_S + reads_s + record_s + state.asking_s(with_supply=True) + worst_case_settling(state)
    return replace(higher, duration_s=higher.duration_s + lower.duration_s + 2.0 * each_s)
