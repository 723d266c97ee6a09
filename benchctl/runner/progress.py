"""How far an earlier part of a run came, read from its journal, and the way back to that place."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from benchctl.archive.entries import FiguresEntry, entries_of, results_of
from benchctl.archive.events import CLEAN_LEVEL, FIGURES, RUN_RESUMED, STEP_FINISHED, STEP_GIVEN_UP, STEP_STARTED
from benchctl.documents.bench_steps import PowerOff, PowerOn, RampSupply, Set
from benchctl.documents.power_steps import FindCleanLevel
from benchctl.documents.step_base import StepBase
from benchctl.errors import UsageError
from benchctl.measure.figure import Figure
from benchctl.runner.drive import set_frequency, set_load, tone
from benchctl.runner.plan import PlannedStep
from benchctl.runner.run import CleanLevel, Conditions, Run
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
        next_index: the first unfinished step of the plan, or how many there are where all are finished.
        power_on: the step that switched the amplifier on, where it is on at that place.
        conditions: what the bench was set to.
        clean_levels: as `Run.clean_levels`.
        measured: every figure so far.
        already: burst lengths of the unfinished step that have their figures (None: of a step without bursts).
        unmeasured: the finished steps whose records gave no figures, with the reason.
        remarks: what a person must be told before the run goes on.
    """

    next_index: int = 0
    power_on: PowerOn | RampSupply | None = None
    conditions: Conditions = field(default_factory=Conditions)
    clean_levels: Mapping[tuple[float, float], CleanLevel] = field(default_factory=dict)
    measured: tuple[Figure, ...] = ()
    already: frozenset[int | None] = frozenset()
    unmeasured: tuple[str, ...] = ()
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
    performed = _Performed(plan, frozenset(event["index"] for event in finished if "left_out" in event))
    done = performed.before(next_index)
    # Where the next step switches everything off, nothing need be switched on for it.
    switches_off = [each.step for each in plan[next_index : next_index + 1] if isinstance(each.step, PowerOff)]
    left = _Left()
    left.go_through(*done, *switches_off)
    return Progress(
        next_index=next_index,
        power_on=left.power_on,
        conditions=left.conditions,
        clean_levels=_clean_levels(performed, events),
        measured=tuple(figure for entry in entries_of(events) for figure in entry.figures),
        already=_measured_lengths(events, next_index),
        unmeasured=tuple(f"{event['step']}: {event['no_figures']}" for event in finished if "no_figures" in event),
    )


@dataclass(frozen=True)
class Attempt:
    """A step that is under way.

    `given_up_before` counts how often it was given up already; `findings` are the numbers of the events that tell what
    it has found so far.
    """

    index: int
    label: str
    given_up_before: int = 0
    findings: tuple[int, ...] = ()


def attempt_under_way(events: Sequence[Event]) -> Attempt | None:
    """The step that was being performed when the journal ended; None before the first one and between two."""
    attempt: Attempt | None = None
    given_up = Counter(event["index"] for event in events if event["event"] == STEP_GIVEN_UP)
    for event in events:
        if event["event"] == STEP_STARTED:
            attempt = Attempt(event["index"], event["step"], given_up[event["index"]])
        elif event["event"] in _BETWEEN_STEPS:
            attempt = None
        elif attempt is not None and event["event"] in (FIGURES, CLEAN_LEVEL):
            attempt = replace(attempt, findings=(*attempt.findings, event["number"]))
    return attempt


def _check_same_plan(plan: Sequence[PlannedStep], of_steps: Sequence[Event]) -> None:
    for event in of_steps:
        index = event["index"]
        if not 0 <= index < len(plan) or plan[index].label != event["step"]:
            raise UsageError(f"the journal's step '{event['step']}' is not in the sequence as it was kept")


@dataclass(frozen=True)
class _Performed:
    """The plan, and which of its steps were left out because a condition did not hold."""

    plan: Sequence[PlannedStep]
    left_out: frozenset[int]

    def before(self, index: int) -> list[StepBase]:
        """The steps that were performed before this one."""
        return [each.step for place, each in enumerate(self.plan[:index]) if place not in self.left_out]

    def searches(self) -> Mapping[int, tuple[float | None, float | None]]:
        """Each step that searched for a clean level -> the load and the frequency that were set then."""
        left, places = _Left(), {}
        for index, planned in enumerate(self.plan):
            if index in self.left_out:
                continue
            if isinstance(planned.step, FindCleanLevel):
                places[index] = (left.conditions.load_ohm, left.conditions.frequency_hz)
            left.go_through(planned.step)
        return places


@dataclass
class _Left:
    """What steps have left the bench set to."""

    power_on: PowerOn | RampSupply | None = None
    conditions: Conditions = field(default_factory=Conditions)

    def go_through(self, *steps: StepBase) -> None:
        """These were performed."""
        for step in steps:
            self._go_through(step, self.conditions)

    def _go_through(self, step: StepBase, conditions: Conditions) -> None:
        match step:
            case PowerOn() | RampSupply():
                self.power_on, conditions.supply_v = step, step.voltage_v
            case PowerOff():
                self.power_on, conditions.load_ohm, conditions.level_v = None, None, None
            case Set():
                if step.load_ohm not in (None, conditions.load_ohm):
                    conditions.load_ohm, conditions.level_v = step.load_ohm, None  # switched without a signal
                conditions.frequency_hz = step.frequency_hz or conditions.frequency_hz
                conditions.level_v = step.level_v or conditions.level_v
                conditions.supply_v = step.supply_v or conditions.supply_v
            case _ if step.kind.startswith(("measure_", "find_", "cool", "soak", "set_gain", "prompt")):
                conditions.level_v = None  # these leave the amplifier undriven


def _clean_levels(performed: _Performed, events: Sequence[Event]) -> dict[tuple[float, float], CleanLevel]:
    """What was found last for each load and frequency; a search forgets what was found before it, whatever it finds."""
    searches = performed.searches()
    found: dict[tuple[float, float], CleanLevel] = {}
    for event in events:
        if event["event"] == CLEAN_LEVEL:
            found[event["load_ohm"], event["frequency_hz"]] = CleanLevel(event["level_v"], event["thd_n"])
        elif event["event"] == STEP_STARTED and event["index"] in searches:
            place = searches[event["index"]]
            found = {other: level for other, level in found.items() if other != place}
    return found


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
    """As it was switched on the first time: what needed care then needs it again."""
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
    run.already = progress.already


def return_to(progress: Progress, run: Run) -> None:
    """Set the bench as it was, without measuring: on, loaded, tuned and, where a level was set, driven."""
    if progress.power_on is not None:
        _switch_on(progress.power_on, run)
        if progress.conditions.supply_v not in (None, progress.power_on.voltage_v):
            perform_set(Set(supply_v=progress.conditions.supply_v), run)
    if progress.conditions.load_ohm is not None:
        set_load(run, progress.conditions.load_ohm)
    if progress.conditions.frequency_hz is not None:
        set_frequency(run, progress.conditions.frequency_hz)
    if progress.conditions.level_v is not None:
        run.conditions.level_v = progress.conditions.level_v
        tone(run, progress.conditions.level_v)
