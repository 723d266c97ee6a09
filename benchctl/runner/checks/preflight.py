"""Every check that can be made before any output is switched on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from benchctl.errors import PreflightRefused
from benchctl.runner.acting.records.own_noise import own_records
from benchctl.runner.acting.run import Files
from benchctl.runner.checks import blind_spots, filters, hazards, notes, resolvable_limits, warnings
from benchctl.runner.checks.expected_limits import passed_limits
from benchctl.runner.checks.fuse import overloads
from benchctl.runner.checks.lacks import generator as generator_lacks
from benchctl.runner.checks.telling import Finding, told_once
from benchctl.runner.expected.expected_step import ExpectedStep
from benchctl.runner.expected.pace import Pace, declared_pace, slower
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.plan import PlannedStep
from benchctl.runner.steps import ACTIONS


@dataclass(frozen=True)
class Preflight:
    """The steps with what they are expected to take, every hazard and every warning found.

    `worst_cases` hold the highest power of each step, `expected_steps` the probable one. `accepted` is the reason why a
    person goes on in spite of the warnings. `notes` need no answer.
    """

    plan: tuple[PlannedStep, ...]
    worst_cases: tuple[WorstCase, ...]
    expected_steps: tuple[ExpectedStep, ...]
    hazards: tuple[str, ...]
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    accepted: str = ""

    @property
    def duration_s(self) -> float:
        """The whole run without the waits whose length is unknown."""
        return sum(worst.duration_s for worst in self.worst_cases)

    @property
    def expected_s(self) -> float:
        """The whole run, with open waits at their probable length."""
        return sum(expected.duration_s for expected in self.expected_steps)

    @property
    def at_most_s(self) -> float:
        """The whole run with every open wait at its longest."""
        return sum(worst.at_most_s or worst.duration_s for worst in self.worst_cases)

    def refuse_hazards(self, accepted: str = "") -> None:
        """Raise PreflightRefused if there is a hazard, or a warning that nobody has `accepted` with a reason."""
        if self.hazards:
            raise PreflightRefused(self.hazards)
        if self.warnings and not accepted.strip():
            raise PreflightRefused(
                [f"warning: {text} (--accept REASON goes on all the same)" for text in self.warnings]
            )


def preflight(
    files: Files, plan: Sequence[PlannedStep], *, unattended: bool, measured: Pace | None = None
) -> Preflight:
    """Go through the plan without touching anything; `measured`: how long questions to the instruments were seen to
    take.
    """
    pace = slower(declared_pace(files.bench), measured or Pace())
    own = own_records((planned.step for planned in plan), files.bench)
    state = ExpectedState(files.bench, files.amplifier, unattended=unattended, pace=pace, own_records=own)
    refused: list[Finding] = []
    doubtful: list[Finding] = []
    good_to_know: list[Finding] = []
    worst_cases: list[WorstCase] = []
    expected_steps: list[ExpectedStep] = []
    for planned in plan:
        worst = ACTIONS[type(planned.step)].worst_case(planned.step, state).later(pace.between_steps_s)
        state.hazards += hazards.of_step(planned.step, worst, state)
        refused += [Finding(planned, text) for text in state.hazards]
        doubtful += [Finding(planned, text) for text in (*state.warnings, *warnings.of_step(worst, files))]
        told = (*filters.notes_of(planned.step, state), *generator_lacks.notes_of_step(planned.step, state))
        good_to_know += [Finding(planned, text) for text in told]
        state.hazards.clear()
        state.warnings.clear()
        worst_cases.append(worst)
        expected_steps.append(state.go_through(worst, expected_steps[-1].ends_s if expected_steps else 0.0))
    for overload in overloads(files.amplifier, plan, worst_cases):
        (refused if overload.will_open else doubtful).append(Finding(overload.planned, overload.text))
    of_all = [
        *hazards.of_files(files, unattended=unattended),
        *hazards.of_plan(plan),
        *resolvable_limits.unresolved(files, plan),
    ]
    cautions = [
        *blind_spots.warnings_of(files, plan, worst_cases, expected_steps, unattended=unattended),
        *warnings.of_run(files, plan, worst_cases, unattended=unattended),
        *resolvable_limits.too_close(files, plan),
    ]
    return Preflight(
        tuple(plan),
        tuple(worst_cases),
        tuple(expected_steps),
        tuple(dict.fromkeys([*of_all, *told_once(refused)])),
        (*cautions, *passed_limits(files, plan, expected_steps), *told_once(doubtful)),
        (
            *blind_spots.notes_of(files),
            *notes.of_files(files),
            *(notes.of_fitted_power(state.fitted) if state.fitted is not None else ()),
            *notes.of_pace(files.bench, pace),
            *resolvable_limits.coarse_ranges(files, plan),
            *told_once(good_to_know),
        ),
    )
