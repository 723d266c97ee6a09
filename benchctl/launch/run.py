"""Put a run together and perform it: documents, clock, instruments real or simulated, guard, run folder."""

from __future__ import annotations

import json
import platform
from collections.abc import Callable, Mapping
from contextlib import ExitStack, suppress
from dataclasses import dataclass, field, replace
from importlib.metadata import version
from pathlib import Path
from typing import Protocol

from benchctl.archive.evidence.inputs import keep_inputs
from benchctl.archive.folder import DRIVERS, RunFolder
from benchctl.archive.folder_lock import written_alone
from benchctl.archive.journal.events import (
    INPUTS_KEPT,
    NOT_WATCHED,
    RECORDING_ENDED,
    RUN_STARTED,
    STEP_BEGINS_ANEW,
    WARNINGS_ACCEPTED,
)
from benchctl.archive.journal.journal import read_journal
from benchctl.archive.journal.simulation import Simulation
from benchctl.archive.recorder import Recorder
from benchctl.archive.tables.run_identity import dry_run_name
from benchctl.clock import RealClock
from benchctl.documents.bridging import amplifier_as_tested, bench_as_tested
from benchctl.documents.logo import logo_of
from benchctl.documents.reader import load_amplifier, load_bench, load_sequence
from benchctl.errors import ArchiveError, BenchctlError
from benchctl.guard.guard import Guard
from benchctl.guard.herald import Listener
from benchctl.guard.limits import limits_of
from benchctl.launch.acknowledgement import require_acknowledgement
from benchctl.launch.guarded import guarded
from benchctl.launch.opened import Opened, opened_bench
from benchctl.runner.acting.desk import Desk
from benchctl.runner.acting.run import Files, Observer, OwnHands, Run
from benchctl.runner.checks.blind_spots import blind_spots
from benchctl.runner.checks.preflight import Preflight, preflight
from benchctl.runner.engine.execute import Outcome, conclude, execute
from benchctl.runner.engine.progress import Progress, progress_of
from benchctl.runner.expected.pace import Pace, declared_pace
from benchctl.runner.plan import expand

# The sequence in which a person drives the amplifier, at a desk.
BY_HAND = "by_hand"


class _NobodyAsked:
    """An observer's stand-in for a dry run: what would be asked of hands is told, and the simulated bench does it."""

    def __init__(self, observer: RunObserver) -> None:
        self._observer = observer
        self.started = observer.started
        self.step_started = observer.step_started
        self.figures = observer.figures
        self.note = observer.note
        self.progress = observer.progress

    def hands_needed(self, request: str) -> None:
        self._observer.note(f"a person would have to act: {request}")

    def answer(self, question: str) -> str:
        self._observer.note(f"would be asked for: {question}")
        return "not asked in a dry run"


class RunObserver(Observer, Listener, Protocol):
    """Who watches a run from before its first step."""

    def started(self, checked: Preflight, run: Run) -> None:
        """Preflight has passed and the bench is open; nothing is energised yet."""


@dataclass(frozen=True)
class Documents:
    """Where the three documents of a run are: paths, or names of shipped ones; and the sequence's parameters as set."""

    sequence: str | Path
    bench: str | Path
    amplifier: str | Path
    settings: Mapping[str, str] = field(default_factory=dict)

    def load(self) -> Files:
        """Read them.

        Raises:
            DocumentError: with every fault of the first file that has any.
            UsageError: there is no such file, or a parameter cannot be set so.
        """
        amplifier = load_amplifier(self.amplifier)
        sequence = load_sequence(self.sequence, amplifier, self.settings)
        bench = bench_as_tested(load_bench(self.bench), sequence)
        return Files(sequence, bench, amplifier_as_tested(amplifier, sequence))


@dataclass(frozen=True)
class Result:
    """How a run ended, where it left everything, and which of its instruments were simulated."""

    outcome: Outcome
    folder: Path
    simulation: Simulation


def run(
    documents: Documents,
    observer: RunObserver,
    *,
    out: Path,
    dry_run: bool = False,
    unattended: bool = False,
    accepted: str = "",
    records: bool = False,
    desk: Desk | None = None,
) -> Result:
    """Run a sequence.

    Args:
        documents: sequence, bench and amplifier.
        observer: is told what happens.
        out: the folder in which the run folder is made.
        dry_run: simulated instruments behind the same bench file, in virtual time; in real time at a `desk`.
        unattended: refuse what needs a person.
        accepted: why preflight's warnings are accepted; without a reason they are refused.
        records: keep all that is said to the instruments, and all that they answer, in the run folder.
        desk: where a person presses keys, for the steps that they drive by hand.

    Raises:
        DocumentError, UsageError, PreflightRefused: nothing was touched.
        OperatorStop: the cautions before the first real run on this bench were not acknowledged.
        InstrumentError: an instrument could not be opened; nothing was energised.
        ArchiveError: the run folder cannot be written.
    """
    files = documents.load()
    checked = preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=unattended)
    checked.refuse_hazards(accepted)
    if not dry_run:
        require_acknowledgement(files.bench, observer.answer, unattended=unattended)
    with opened_bench(files, dry_run=dry_run, records=records, desk=desk) as opened:
        checked = at_measured_pace(opened, files, checked, unattended=unattended, accepted=accepted)
        return run_on(
            opened, files, replace(checked, accepted=accepted), observer, out=out, settings=documents.settings
        )


def at_measured_pace(opened: Opened, files: Files, checked: Preflight, *, unattended: bool, accepted: str) -> Preflight:
    """Preflight once more, if an instrument takes longer to answer than the files say; nothing is energised yet.

    Raises:
        PreflightRefused: at this pace something is in the way.
    """
    measured = Pace({name: role.look_at_pace() for name, role in opened.bench.roles.items()})
    if not measured.is_slower_than(declared_pace(files.bench)):
        return checked
    again = preflight(files, checked.plan, unattended=unattended, measured=measured)
    again.refuse_hazards(accepted)
    return again


def run_on(
    opened: Opened,
    files: Files,
    checked: Preflight,
    observer: RunObserver,
    *,
    out: Path,
    settings: Mapping[str, str] | None = None,
) -> Result:
    """Run what preflight has passed on an open bench, into a new run folder; see `run`."""
    # A folder is found by the day it was made, in a dry run too.
    folder = RunFolder.create(out, files.sequence.title, files.amplifier.title, RealClock())
    with written_alone(folder):
        recorder = Recorder(folder, opened.clock)

        def work() -> Outcome:
            _keep_recording(folder, files, opened, settings or {}, checked.accepted)
            _keep_inputs(recorder, files, opened, settings or {})
            outcome = perform(files, checked, opened, recorder, observer)
            if opened.recording is not None and opened.recording.ended_early:
                recorder.event(RECORDING_ENDED, reason=opened.recording.ended_early)
            return outcome

        return Result(closed_behind(recorder, work), folder.path, recorder.simulation)


def closed_behind(recorder: Recorder, work: Callable[[], Outcome]) -> Outcome:
    """Do the work, and close the run folder after it.

    If the folder cannot be closed, how the run ended and whether the bench is safe is reported all the same.
    """
    try:
        outcome = work()
    except BaseException:
        with suppress(ArchiveError):  # what went wrong first is what counts
            recorder.finish()
        raise
    try:
        recorder.finish()
    except ArchiveError as lost:
        return replace(outcome, error=outcome.error or lost)
    return outcome


def perform(  # noqa: PLR0917 - what a run is made of
    files: Files,
    checked: Preflight,
    opened: Opened,
    recorder: Recorder,
    observer: RunObserver,
    progress: Progress | None = None,
) -> Outcome:
    """Guard and execute, from the first step or from where an earlier part of the run ended.

    If a step starts again after a power cycle, the run goes on as a resumed one does: over new links, under a new
    guard, and from its journal.
    """
    if blind := blind_spots(files):
        recorder.event(NOT_WATCHED, texts=list(blind))
    if checked.warnings:
        recorder.event(WARNINGS_ACCEPTED, reason=checked.accepted, warnings=list(checked.warnings))
    outcome = _perform_part(files, checked, opened, recorder, observer, progress)
    with ExitStack() as stack:
        while outcome.begins_anew:
            try:
                opened = stack.enter_context(opened.renewed())
                progress = progress_of(checked.plan, read_journal(recorder.folder.journal).events)
                step = checked.plan[progress.next_index].label
                simulated = opened.simulated_roles
                recorder.event(STEP_BEGINS_ANEW, index=progress.next_index, step=step, simulated=simulated)
                outcome = _perform_part(files, checked, opened, recorder, observer, progress)
            except BenchctlError as error:  # nothing was switched on again
                outcome = conclude(recorder, replace(outcome, error=error, begins_anew=False))
    return outcome


def _perform_part(  # noqa: PLR0917 - what a run is made of
    files: Files,
    checked: Preflight,
    opened: Opened,
    recorder: Recorder,
    observer: RunObserver,
    progress: Progress | None,
) -> Outcome:
    opened.bench.report_to(recorder.event)
    guard = Guard(
        opened.bench,
        limits_of(files.sequence, files.bench, files.amplifier),
        opened.clock,
        opened.interlock,
        report=recorder.event,
        trend=recorder.trend,
        listener=observer,
        has_guardian=opened.lock is not None,
    )
    this = Run(
        files=files,
        bench=opened.bench,
        clock=opened.clock,
        interlock=opened.interlock,
        guard=guard,
        recorder=recorder,
        observer=_NobodyAsked(observer) if opened.asks_nobody else observer,
        planned=checked.plan[0],
        hands=opened.simulated or OwnHands(),
        desk=opened.desk,
        stated_s={
            planned.label: worst.stated_s
            for planned, worst in zip(checked.plan, checked.worst_cases, strict=True)
            if worst.stated_s is not None
        },
    )
    with ExitStack() as stack:
        if opened.lock is not None:
            stack.enter_context(guarded(opened.bench, opened.interlock, opened.lock, guard, recorder))
        observer.started(checked, this)
        for text in blind_spots(files):
            observer.note(text)
        if opened.asked_to_end is not None:  # after the part of the run that this one follows had ended
            opened.interlock.open(opened.asked_to_end)
        return execute(checked.plan, this, progress)


def _keep_recording(
    folder: RunFolder, files: Files, opened: Opened, settings: Mapping[str, str], accepted: str
) -> None:
    """Give the recording its file. It begins with everything that is needed to run this again without the
    instruments.
    """
    if opened.recording is not None:
        opened.recording.keep_in(
            folder.traffic,
            {
                "inputs": _texts_of(files),
                "settings": dict(settings),
                "accepted": accepted,
                "addresses": {name: role.session.address for name, role in opened.bench.roles.items()},
                "marks_ends": opened.recording.marks_ends,
                "versions": _versions(),
            },
        )


def _texts_of(files: Files) -> dict[str, str]:
    """The documents as they were used, by their names in a run folder."""
    texts = {f"{kind}.yaml": document.whole_text for kind, document in vars(files).items()}
    return texts | {f"{DRIVERS}/{role}.yaml": driver.whole_text for role, driver in files.bench.drivers.items()}


def _keep_inputs(recorder: Recorder, files: Files, opened: Opened, settings: Mapping[str, str]) -> None:
    """Keep the documents as they were used, the identities of the instruments, and their drivers."""
    identities = opened.bench.identities()
    texts = _texts_of(files)
    texts["instruments.json"] = json.dumps(identities, indent=2) + "\n"
    texts["versions.json"] = json.dumps(_versions(), indent=2) + "\n"
    inputs = keep_inputs(recorder.folder, texts, logo_of(files.bench))
    amplifier, is_dry = files.amplifier, opened.simulated is not None
    comes_out_the_same = is_dry and opened.desk is None  # nobody presses the same keys twice
    recorder.event(
        RUN_STARTED,
        run=dry_run_name(files.sequence.title, inputs, settings) if comes_out_the_same else recorder.folder.name,
        amplifier=amplifier.title,
        serial=amplifier.serial or "",
        dry_run=is_dry,
        simulated=opened.simulated_roles,
        replayed=opened.is_replayed,
        seed=None if opened.simulated is None else opened.simulated.seed,
        settings=dict(settings),
        instruments=identities,
        versions=_versions(),
        inputs=inputs,
    )
    recorder.event(INPUTS_KEPT, texts=texts)


def _versions() -> Mapping[str, str]:
    packages = ("benchctl", "numpy", "pyvisa", "pyvisa-py")
    return {"python": platform.python_version(), **{name: version(name) for name in packages}}
