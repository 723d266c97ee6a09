"""Every check that can be made before any output is switched on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

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


@dataclass
class _Way:
    """The way through the steps of a plan, in their order: what is expected of each, and what was found there."""

    files: Files
    state: ExpectedState
    worst_cases: list[WorstCase] = field(default_factory=list)
    expected_steps: list[ExpectedStep] = field(default_factory=list)
    refused: list[Finding] = field(default_factory=list)
    doubtful: list[Finding] = field(default_factory=list)
    good_to_know: list[Finding] = field(default_factory=list)

    def go_through(self, planned: PlannedStep) -> None:
        """The next step: what speaks against it in the state that the steps before it leave, and its own state."""
        state = self.state
        worst = ACTIONS[type(planned.step)].worst_case(planned.step, state).later(state.pace.between_steps_s)
        state.hazards += hazards.of_step(planned.step, worst, state)
        self._note(planned, worst)
        state.hazards.clear()
        state.warnings.clear()
        self.worst_cases.append(worst)
        begins_s = self.expected_steps[-1].ends_s if self.expected_steps else 0.0
        self.expected_steps.append(state.go_through(worst, begins_s))

    def look_at_fuses(self, plan: Sequence[PlannedStep]) -> None:
        """What the whole way asks of the amplifier's fuse."""
        for overload in overloads(self.files.amplifier, plan, self.worst_cases):
            finding = Finding(overload.planned, overload.text)
            (self.refused if overload.will_open else self.doubtful).append(finding)

    def _note(self, planned: PlannedStep, worst: WorstCase) -> None:
        state = self.state
        self.refused += [Finding(planned, text) for text in state.hazards]
        self.doubtful += [Finding(planned, text) for text in (*state.warnings, *warnings.of_step(worst, self.files))]
        told = (*filters.notes_of(planned.step, state), *generator_lacks.notes_of_step(planned.step, state))
        self.good_to_know += [Finding(planned, text) for text in told]


def preflight(
    files: Files, plan: Sequence[PlannedStep], *, unattended: bool, measured: Pace | None = None
) -> Preflight:
    """Go through the plan without touching anything; `measured`: how long questions to the instruments were seen to
    take.
    """
    pace = slower(declared_pace(files.bench), measured or Pace())
    own = own_records((planned.step for planned in plan), files.bench)
    way = _Way(files, ExpectedState(files.bench, files.amplifier, unattended=unattended, pace=pace, own_records=own))
    for planned in plan:
        way.go_through(planned)
    way.look_at_fuses(plan)
    return Preflight(
        tuple(plan),
        tuple(way.worst_cases),
        tuple(way.expected_steps),
        tuple(dict.fromkeys([*_hazards_of_run(files, plan, unattended=unattended), *told_once(way.refused)])),
        (*_warnings_of_run(plan, way, unattended=unattended), *told_once(way.doubtful)),
        (*_notes_of_run(plan, way), *told_once(way.good_to_know)),
    )


def _hazards_of_run(files: Files, plan: Sequence[PlannedStep], *, unattended: bool) -> Iterator[str]:
    yield from hazards.of_files(files, unattended=unattended)
    yield from hazards.of_plan(plan)
    yield from resolvable_limits.unresolved(files, plan)


def _warnings_of_run(plan: Sequence[PlannedStep], way: _Way, *, unattended: bool) -> Iterator[str]:
    files = way.files
    yield from blind_spots.warnings_of(files, plan, way.worst_cases, way.expected_steps, unattended=unattended)
    yield from warnings.of_run(files, plan, way.worst_cases, unattended=unattended)
    yield from resolvable_limits.too_close(files, plan)
    yield from passed_limits(files, plan, way.expected_steps)


def _notes_of_run(plan: Sequence[PlannedStep], way: _Way) -> Iterator[str]:
    files, state = way.files, way.state
    yield from blind_spots.notes_of(files)
    yield from notes.of_files(files)
    if state.fitted is not None:
        yield from notes.of_fitted_power(state.fitted)
    yield from notes.of_pace(files.bench, state.pace)
    yield from resolvable_limits.coarse_ranges(files, plan)
