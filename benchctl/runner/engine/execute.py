"""Perform the steps of a plan, and bring the bench to the safe state however that ends."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from benchctl.archive.journal.ending import FINISHED
from benchctl.archive.journal.events import RUN_ENDED, STEP_FINISHED, STEP_STARTED
from benchctl.archive.recorder import Recorder
from benchctl.documents.sequence_file.bench_steps import RampSupply
from benchctl.documents.sequence_file.step_base import StepBase
from benchctl.documents.sequence_file.steps import MEASURING
from benchctl.errors import ArchiveError, BenchctlError, InstrumentError, MeasurementError, PartNotMeasured
from benchctl.guard.confirmation import Confirmation, all_confirmed
from benchctl.measure.budget.figure import Figure
from benchctl.runner.acting.drive import mute
from benchctl.runner.acting.load_change import begin_with_load
from benchctl.runner.acting.proving.warmth import watch_warmth
from benchctl.runner.acting.run import Run
from benchctl.runner.acting.twin_watch import watch_twin
from benchctl.runner.engine import power_cycle
from benchctl.runner.engine.progress import Progress, return_to, take_over
from benchctl.runner.plan import PlannedStep
from benchctl.runner.steps import ACTIONS
from benchctl.runner.steps.ramp_supply import bring_up
from benchctl.runner.steps.require import unmet_criteria

# How an error of the program itself is reported: the run failed and the bench was made safe.
FAULT_EXIT_CODE = 5


@dataclass(frozen=True)
class Outcome:
    """How a run ended.

    `error` is why it ended early. `unmeasured` lists the steps that gave no figures, or not all, with the reason.
    `tripped_outputs` are the supply's outputs that it has switched off by itself.
    `requirements` and `early_ends` are those of `Run`. If a step `begins_anew`, only a part
    of the run has ended; the caller goes on from the journal.
    """

    error: BenchctlError | None
    unmeasured: tuple[str, ...]
    figures: tuple[Figure, ...]
    confirmations: tuple[Confirmation, ...]
    begins_anew: bool = False
    tripped_outputs: tuple[str, ...] = ()
    requirements: Mapping[Figure, str] = field(default_factory=dict)
    early_ends: tuple[str, ...] = ()

    @property
    def is_safe(self) -> bool:
        """Whether every instrument confirmed the safe state."""
        return all_confirmed(self.confirmations)

    def verdicts(self, verdict: str) -> int:
        """How many figures have this verdict."""
        return sum(figure.verdict == verdict for figure in self.figures)

    @property
    def contradicted(self) -> int:
        """How many figures depend on a quantity on which instruments contradict each other."""
        return sum(bool(figure.contradiction) for figure in self.figures)

    @property
    def exit_code(self) -> int:
        """0 only if the run finished, every verdict passes, nothing contradicts itself, and the bench is known to be
        safe.

        A bench that is not known to be safe matters more than why the run ended.
        """
        if not self.is_safe:
            return FAULT_EXIT_CODE
        if self.error is not None:
            return self.error.exit_code
        doubtful = self.unmeasured or self.verdicts("fails") or self.verdicts("inconclusive") or self.contradicted
        return 1 if doubtful else 0


def execute(plan: Sequence[PlannedStep], run: Run, progress: Progress | None = None) -> Outcome:
    """Perform every step in order, from the first one or from where an earlier part of the run ended.

    Errors are put into the outcome. Only errors of the program itself are raised, and the bench is made safe before
    that.
    """
    unmeasured: list[str] = []
    fault: BaseException | None = None
    try:
        _perform_all(plan, run, progress, unmeasured)
    except BenchctlError as error:
        # The reason is what opened the interlock first, not the failure of an exchange that it then ended.
        run.interlock.open(error)
    except BaseException as caught:  # noqa: BLE001 - raised again below, once the bench is safe
        fault = caught
        run.interlock.open(BenchctlError(f"error in the program: {caught!r}"))
    outcome = _end(run, unmeasured)
    if fault := fault or run.guard.fault:
        raise fault
    return outcome


def _perform_all(plan: Sequence[PlannedStep], run: Run, progress: Progress | None, unmeasured: list[str]) -> None:
    prepare(run)
    run.guard.start()
    first = progress.next_index if progress is not None else 0
    if progress is not None:
        unmeasured += progress.unmeasured
        take_over(progress, run)
    if progress is not None and first < len(plan):
        run.planned = plan[first]
        _look_at_temperatures(run)
        return_to(progress, run)
    for index, planned in enumerate(plan[first:], start=first):
        _perform(index, planned, run, unmeasured)


def prepare(run: Run) -> None:
    """Reset every instrument and put it into its mode, on a bench that is known to be safe.

    The last user may have left it on, and their settings are not trusted. Errors in an instrument's queue are cleared
    by the reset; they do not belong to this run.

    Raises:
        InstrumentError: an instrument does not confirm that its output is off.
    """
    confirmations = run.guard.confirm_safe()
    missing = [each for each in confirmations if not each.confirmed]
    if any(each.can_be_confirmed for each in missing):
        raise InstrumentError(
            "the bench is not in the safe state to begin with: " + "; ".join(str(each) for each in missing)
        )
    for each in missing:
        run.note(f"{each}: it was told, and only you can see whether it is so")
    run.bench.reset(run.wait)
    run.bench.report_every_error()
    for role in run.bench.roles.values():
        role.prepare()
    run.bench.check_errors()
    begin_with_load(run)
    watch_warmth(run)
    watch_twin(run)


def _look_at_temperatures(run: Run) -> None:
    """Read the temperatures after an interruption. Parts may still be warm, and nothing is switched on above a limit.

    Raises:
        LimitTripped: a temperature is over its limit.
        InstrumentError: one cannot be read.
    """
    channels = run.bench.thermometer.channels if run.bench.has("thermometer") else {}
    for signal in dict.fromkeys(watch.limit.signal for watch in run.guard.watches):
        if signal in channels:
            run.guard.observe(signal, run.read(signal))


def _why_left_out(planned: PlannedStep, run: Run) -> str:
    """The first condition of the step that does not hold, in words, or an empty text."""
    for criteria in planned.only_if:
        if unmet := unmet_criteria(run, criteria):
            return unmet[0]
    return ""


def _perform(index: int, planned: PlannedStep, run: Run, unmeasured: list[str]) -> None:
    run.planned = planned
    run.interlock.check()
    run.observer.step_started(index, planned)
    _tell(run, STEP_STARTED, index, settings=planned.step.model_dump(mode="json"))
    if reason := _why_left_out(planned, run):
        run.note(f"{planned.label} is left out: {reason}")
        _tell(run, STEP_FINISHED, index, left_out=reason)
        return
    why: dict[str, str] = {}
    try:
        if None in run.already:  # its figures are in the journal, and only its end is not
            _leave_as_after(planned.step, run)
        else:
            ACTIONS[type(planned.step)].perform(planned.step, run)
        run.bench.check_errors()
    except MeasurementError as reason:
        run.guard.check_supply_protection()
        if not isinstance(planned.step, MEASURING):
            raise
        mute(run)
        unmeasured.append(f"{planned.label}: {reason}")
        lacks = "lacks figures" if isinstance(reason, PartNotMeasured) else "gives no figures"
        run.note(f"{planned.label} {lacks}: {reason}")
        why = {"no_figures": str(reason)}
    run.already = frozenset()
    if early := run.early_ends.get(planned.label):
        why["ended_early"] = early
    _tell(run, STEP_FINISHED, index, **why)


def _tell(run: Run, kind: str, index: int, **fields: Any) -> None:
    """Journal an event of the step, with what the bench is set to."""
    run.recorder.event(kind, index=index, step=run.planned.label, conditions=asdict(run.conditions), **fields)


def _leave_as_after(step: StepBase, run: Run) -> None:
    """Leave the bench as this step does. An earlier part of the run has its figures already."""
    if isinstance(step, RampSupply):
        bring_up(step, run)
    else:
        mute(run)


def _end(run: Run, unmeasured: Sequence[str]) -> Outcome:
    """Bring the bench into the safe state and write the last event, unless the step that was under way starts again. A
    journal that cannot be written is an error too.
    """
    try:
        run.guard.stop()
    except ArchiveError as lost:
        run.interlock.open(lost)
    error = run.interlock.reason or run.guard.trouble
    try:
        begins_anew = power_cycle.gives_up_step(run, error)
    except ArchiveError as lost:
        error, begins_anew = error or lost, False
    outcome = Outcome(
        error,
        tuple(unmeasured),
        tuple(run.measured),
        run.guard.confirmations,
        begins_anew,
        run.guard.tripped_outputs,
        run.requirements,
        tuple(f"{label}: {why}" for label, why in run.early_ends.items()),
    )
    return outcome if begins_anew else conclude(run.recorder, outcome)


def conclude(recorder: Recorder, outcome: Outcome) -> Outcome:
    """Write the last event of the journal. If it cannot be written, the outcome says so."""
    error = outcome.error
    try:
        trend_hash = recorder.finish_trend()
    except ArchiveError as lost:
        error, trend_hash = error or lost, None
        outcome = replace(outcome, error=error)
    try:
        recorder.event(
            RUN_ENDED,
            reason=FINISHED if error is None else str(error),
            exit_code=outcome.exit_code,
            safe=outcome.is_safe,
            instruments=[asdict(each) | {"by_hand": each.by_hand} for each in outcome.confirmations],
            trend_sha256=trend_hash,
        )
    except ArchiveError as lost:
        return replace(outcome, error=error or lost)
    return outcome
