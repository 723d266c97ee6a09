"""set: change load, frequency, level or supply voltage and leave the rest."""

from __future__ import annotations

from benchctl.documents.model.level import Level
from benchctl.documents.sequence_file.bench_steps import Set
from benchctl.runner.acting.agreement import before_power, worst_case_look
from benchctl.runner.acting.drive import QUIET_S, RELAY_S, set_frequency, tone
from benchctl.runner.acting.inputs import feed, keep_fed, worst_case_feed
from benchctl.runner.acting.levels import level_in_v
from benchctl.runner.acting.load_change import set_load
from benchctl.runner.acting.run import Run
from benchctl.runner.acting.terminals import set_supply, worst_case_settling
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase

# From when a level is set the next step counts how long it lasts.
BEGINS_S = 0.1


def perform(step: Set, run: Run) -> None:
    """Inputs and load first, while nothing drives them; a level drives the amplifier until a step mutes it."""
    if step.supply_v is not None:
        set_supply(run, step.supply_v)
    if step.driven is not None:
        keep_fed(run, step.driven)
    if step.load_ohm is not None:
        set_load(run, step.load_ohm)
    if step.frequency_hz is not None:
        set_frequency(run, step.frequency_hz)
    if step.level is not None:
        feed(run)
        level_v = level_in_v(run, step.level, run.conditions.load_ohm)
        before_power(run, level_v)
        tone(run, level_v)


def worst_case(step: Set, state: ExpectedState) -> WorstCase:
    if step.supply_v is not None:
        state.supply_v = step.supply_v
    if step.driven is not None:
        state.asked_driven, state.level = step.driven, None
        worst_case_feed(state, step.driven)
    changes_load = step.load_ohm is not None and step.load_ohm != state.load_ohm
    if changes_load:
        state.change_load_by_hand()
        state.load_ohm, state.level = step.load_ohm, None
    if step.frequency_hz is not None:
        state.frequency_hz = step.frequency_hz
    if step.level is not None:
        state.level = step.level
    switching_s = QUIET_S + RELAY_S if changes_load else 0.0
    duration_s = switching_s + (worst_case_settling(state) if step.supply_v is not None else 0.0)
    if step.level is None:
        return WorstCase(duration_s=duration_s)
    worst_case_feed(state, None)
    _needs(step.level, state)
    look_s = worst_case_look(state, step.level)
    return WorstCase(duration_s=duration_s + look_s, **state.tone(step.level, for_s=max(duration_s, BEGINS_S)))


def _needs(level: Level, state: ExpectedState) -> None:
    """Note a hazard where a level follows from a load or a frequency that is not set."""
    if level.of != "volts" and state.load_ohm is None:
        state.hazard(f"no load is connected, and a level of {level} needs one: 'set' or 'sweep' a load first")
    if level.of == "clean" and state.frequency_hz is None:
        state.hazard(f"no frequency is set, and a level of {level} needs one: 'set' or 'sweep' a frequency first")
