"""How far an earlier part of a run came, read from its journal, and how to bring the bench back to that point."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from benchctl.archive.journal.entries import FiguresEntry, conditions_of, entries_of, results_of
from benchctl.archive.journal.events import (
    CLEAN_LEVEL,
    FIGURES,
    HELD_AGAINST_FIT,
    RUN_RESUMED,
    STEP_FINISHED,
    STEP_GIVEN_UP,
    STEP_STARTED,
)
from benchctl.archive.verdicts import NamedFigures, named_figures
from benchctl.documents.sequence_file.bench_steps import MoveProbe, PowerOff, PowerOn, RampSupply, Set
from benchctl.documents.sequence_file.measuring_steps import MeasureCrosstalk
from benchctl.errors import UsageError
from benchctl.measure.budget.figure import Figure
from benchctl.measure.conditions import UNDRIVEN, Conditions
from benchctl.runner.acting.agreement import before_power
from benchctl.runner.acting.drive import set_frequency, tone
from benchctl.runner.acting.inputs import forget_plugs, keep_fed
from benchctl.runner.acting.load_change import set_load
from benchctl.runner.acting.run import CleanLevel, Place, Run
from benchctl.runner.plan import PlannedStep
from benchctl.runner.steps.move_probe import move_to
from benchctl.runner.steps.power import perform_on
from benchctl.runner.steps.ramp_supply import bring_up
from benchctl.runner.steps.set import perform as perform_set

Event = Mapping[str, Any]

# After any of these no step is under way, until the next one is started.
_BETWEEN_STEPS = (STEP_FINISHED, STEP_GIVEN_UP, RUN_RESUMED)


@dataclass(frozen=True)
class Progress:
    """Where a run goes on.

    Attributes:
        next_index: the first unfinished step of the plan, or the number of steps if all are finished.
        power_on: the step that switched the amplifier on, if it is on at that point.
        conditions: what the bench was set to.
        driven: the driven inputs of the last `set`.
        moves_plugs: whether a step so far left inputs undriven, so that a person may have moved plugs.
        seen: the outputs that have a probe, if a person moves the probes.
        clean_levels: as `Run.clean_levels`.
        measured: every figure so far.
        named: the figures of the steps that have a name.
        already: burst lengths of the unfinished step that have their figures (None: of a step without bursts).
        unmeasured: the finished steps that gave no figures, or not all, with the reason.
        early_ends: as `Run.early_ends`.
        remarks: what a person must be told before the run goes on.
    """

    next_index: int = 0
    power_on: PowerOn | RampSupply | None = None
    conditions: Conditions = UNDRIVEN
    driven: str | tuple[str, ...] = "all"
    moves_plugs: bool = False
    seen: tuple[str, ...] = ()
    clean_levels: Mapping[Place, CleanLevel] = field(default_factory=dict)
    measured: tuple[Figure, ...] = ()
    named: NamedFigures = field(default_factory=dict)
    already: frozenset[int | None] = frozenset()
    unmeasured: tuple[str, ...] = ()
    early_ends: Mapping[str, str] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()


def progress_of(plan: Sequence[PlannedStep], events: Sequence[Event]) -> Progress:
    """Read a journal's events.

    Raises:
        UsageError: the journal is of another plan.
    """
    events = results_of(events)
    finished = [event for event in events if event["event"] == STEP_FINISHED]
    _check_same_plan(plan, [event for event in events if event["event"] in (STEP_STARTED, STEP_FINISHED)])
    next_index = max((event["index"] for event in finished), default=-1) + 1
    left = _left(finished, plan[next_index:])
    return Progress(
        next_index=next_index,
        power_on=_switched_on_by(plan, finished) if left.supply_set_v is not None else None,
        conditions=left,
        driven=_set_driven(plan, finished),
        moves_plugs=any(map(_leaves_inputs_undriven, plan[: next_index + 1])),
        seen=_seen_last(plan, finished),
        clean_levels=_clean_levels(events),
        measured=tuple(figure for entry in entries_of(events) for figure in entry.figures),
        named=named_figures(entries_of(events)),
        already=_measured_lengths(events, next_index),
        unmeasured=tuple(f"{event['step']}: {event['no_figures']}" for event in finished if "no_figures" in event),
        early_ends={event["step"]: event["ended_early"] for event in finished if "ended_early" in event},
    )


def _left(finished: Sequence[Event], still_to_do: Sequence[PlannedStep]) -> Conditions:
    """What the bench was set to after the last finished step; nothing, if the next step switches everything off anyway.

    Raises:
        UsageError: the journal was written by an earlier version, which did not record that.
    """
    switches_off = bool(still_to_do) and isinstance(still_to_do[0].step, PowerOff)
    if not finished or not still_to_do or (switches_off and len(still_to_do) == 1):
        return UNDRIVEN
    left = conditions_of(finished[-1])
    if not left.is_whole:
        raise UsageError(
            "this run was begun by an earlier version of benchctl, which did not keep what the bench was set to",
            advice="Start the sequence again. What this run has measured can still be reported, verified and compared.",
        )
    return replace(UNDRIVEN, frequency_hz=left.frequency_hz) if switches_off else left


def _seen_last(plan: Sequence[PlannedStep], finished: Sequence[Event]) -> tuple[str, ...]:
    """The outputs to which the probes were moved last."""
    performed = (plan[event["index"]].step for event in reversed(finished) if "left_out" not in event)
    return next((step.outputs for step in performed if isinstance(step, MoveProbe)), ())


def _switched_on_by(plan: Sequence[PlannedStep], finished: Sequence[Event]) -> PowerOn | RampSupply | None:
    """The step that switched the amplifier on last."""
    performed = (plan[event["index"]].step for event in reversed(finished) if "left_out" not in event)
    return next((step for step in performed if isinstance(step, PowerOn | RampSupply)), None)


@dataclass(frozen=True)
class Attempt:
    """A step that is under way.

    `given_up_before` counts how often it was given up already. `findings` are the numbers of the events with what it
    has found so far.
    """

    index: int
    label: str
    given_up_before: int = 0
    findings: tuple[int, ...] = ()


def attempt_under_way(events: Sequence[Event]) -> Attempt | None:
    """The step that was being performed when the journal ended; None before the first step and between two steps."""
    attempt: Attempt | None = None
    given_up = Counter(event["index"] for event in events if event["event"] == STEP_GIVEN_UP)
    for event in events:
        if event["event"] == STEP_STARTED:
            attempt = Attempt(event["index"], event["step"], given_up[event["index"]])
        elif event["event"] in _BETWEEN_STEPS:
            attempt = None
        elif attempt is not None and event["event"] in (FIGURES, CLEAN_LEVEL, HELD_AGAINST_FIT):
            attempt = replace(attempt, findings=(*attempt.findings, event["number"]))
    return attempt


def _check_same_plan(plan: Sequence[PlannedStep], of_steps: Sequence[Event]) -> None:
    for event in of_steps:
        index = event["index"]
        if not 0 <= index < len(plan) or plan[index].label != event["step"]:
            raise UsageError(f"the journal's step '{event['step']}' is not in the sequence as it was kept")


def _leaves_inputs_undriven(planned: PlannedStep) -> bool:
    return isinstance(planned.step, MeasureCrosstalk) or isinstance(getattr(planned.step, "driven", None), tuple)


def _set_driven(plan: Sequence[PlannedStep], finished: Sequence[Event]) -> str | tuple[str, ...]:
    """The driven inputs of the last `set`."""
    performed = (plan[event["index"]].step for event in reversed(finished) if "left_out" not in event)
    return next((step.driven for step in performed if isinstance(step, Set) and step.driven is not None), "all")


def _clean_levels(events: Sequence[Event]) -> dict[Place, CleanLevel]:
    """What was found last for each load and frequency. A new search discards what was found before, whatever its
    result.
    """
    left_out = {event["index"] for event in events if "left_out" in event}
    found: dict[Place, CleanLevel] = {}
    for event in events:
        if event["event"] == CLEAN_LEVEL:
            level = CleanLevel(
                event["level_v"],
                event["thd_n"],
                event.get("supply_set_v"),
                event.get("at_least") or {},
                event.get("level_u") or 0.0,
            )
            found[event["load_ohm"], event["frequency_hz"], tuple(event["driven"])] = level
        elif _begins_search(event) and event["index"] not in left_out:
            at = conditions_of(event)
            driven = event["settings"].get("driven")
            found = {
                place: level
                for place, level in found.items()
                if place[:2] != (at.load_ohm, at.frequency_hz) or driven not in (None, list(place[2]))
            }
    return found


def _begins_search(event: Event) -> bool:
    kind = event["settings"]["kind"] if event["event"] == STEP_STARTED else ""
    return bool(kind == "find_clean_level")


def _measured_lengths(events: Sequence[Event], index: int) -> frozenset[int | None]:
    """The burst lengths that have figures of the step at `index`, which was not finished."""
    lengths: set[int | None] = set()
    current: int | None = None
    for event in events:
        if event["event"] == STEP_STARTED:
            current = event["index"]
        elif event["event"] == FIGURES and current == index and event["analysis"] not in ("protection", "fold_back"):
            lengths |= {figure.burst_cycles for figure in FiguresEntry.of_event(event).figures}
    return frozenset(lengths)


def _switch_on(step: PowerOn | RampSupply, run: Run) -> None:
    """Switch the amplifier on with the same care as the first time."""
    if isinstance(step, PowerOn):
        perform_on(step, run)
    else:
        bring_up(step, run)


def take_over(progress: Progress, run: Run) -> None:
    """What earlier parts of the run have found, and what the person must know of them."""
    for remark in progress.remarks:
        run.observer.note(remark)
    run.clean_levels.update(progress.clean_levels)
    run.measured.extend(progress.measured)
    run.named.update(progress.named)
    run.early_ends.update(progress.early_ends)
    run.measured_before = len(run.measured)
    run.already = progress.already


def return_to(progress: Progress, run: Run) -> None:
    """Set the bench as it was, without measuring: on, loaded, tuned and, where a level was set, driven."""
    left = progress.conditions
    if progress.seen:
        move_to(progress.seen, run)
    if progress.power_on is not None:
        _switch_on(progress.power_on, run)
        if left.supply_set_v not in (None, progress.power_on.voltage_v):
            perform_set(Set(supply_v=left.supply_set_v), run)
    if progress.moves_plugs:
        forget_plugs(run)
    keep_fed(run, progress.driven)
    if left.load_ohm is not None:
        set_load(run, left.load_ohm)
    if left.frequency_hz is not None:
        set_frequency(run, left.frequency_hz)
    if left.level_v is not None:
        before_power(run, left.level_v)
        tone(run, left.level_v, left.drive)
