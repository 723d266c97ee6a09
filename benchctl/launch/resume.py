"""Go on with a run that ended early, in its own folder, from its first unfinished step."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from benchctl.archive.evidence.inputs import InputsCheck, check_inputs, texts_of
from benchctl.archive.folder import RunFolder
from benchctl.archive.folder_lock import written_alone
from benchctl.archive.journal.ending import FINISHED
from benchctl.archive.journal.entries import entries_of
from benchctl.archive.journal.events import (
    GUARDIAN_ACTED,
    INPUTS_ACCEPTED,
    INPUTS_KEPT,
    RUN_ENDED,
    RUN_RESUMED,
    RUN_STARTED,
)
from benchctl.archive.journal.guardian_lines import lines_not_told
from benchctl.archive.journal.journal import read_journal
from benchctl.archive.recorder import Recorder
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bridging import amplifier_as_tested, bench_as_tested
from benchctl.documents.reader import load_amplifier, load_bench, load_kept_bench, load_sequence
from benchctl.errors import PreflightRefused, UsageError
from benchctl.launch.opened import Opened, opened_bench
from benchctl.launch.run import Result, RunObserver, closed_behind, perform
from benchctl.measure.method import METHOD, methods_in_words
from benchctl.runner.acting.run import Files
from benchctl.runner.checks.preflight import Preflight, preflight
from benchctl.runner.engine.execute import Outcome
from benchctl.runner.engine.progress import Progress, progress_of
from benchctl.runner.plan import expand


def resume(path: Path, observer: RunObserver, *, unattended: bool = False, accepted: str = "") -> Result:
    """Go on after the last finished step of the run in `path`, with the documents as the run kept them.

    A dry run goes on as a dry run, on a simulated bench that is cold again. Where every step is finished and only the
    end is missing, or the bench was not known to be safe then, it is made safe and the folder completed.

    Args:
        path: the run folder.
        observer: is told what happens.
        unattended: refuse what needs a person.
        accepted: why inputs that were changed since, and preflight's warnings about them, are accepted; without a
            reason they are refused.

    Raises:
        UsageError: no run folder, nothing left to do at all, or a journal that does not tell how the run began.
        PreflightRefused: the run still goes on or is being resumed already, the bench is not the one that it began on,
            or an input was changed.
        InstrumentError: an instrument could not be opened; nothing was energised.
        ArchiveError: the run folder cannot be read or written, or its journal was changed.
    """
    folder = RunFolder.open(path)
    with written_alone(folder):
        kept = kept_run(folder, unattended=unattended, accepted=accepted)
        with opened_bench(kept.files, dry_run=kept.began["dry_run"], elapsed_s=kept.events[-1]["time_s"]) as opened:
            _check_same_instruments(kept.began["instruments"], opened)
            return _go_on(kept, opened, observer, folder)


def _go_on(kept: KeptRun, opened: Opened, observer: RunObserver, folder: RunFolder) -> Result:
    recorder = Recorder(folder, opened.clock)

    def work() -> Outcome:
        for fields in lines_not_told(folder, kept.events):
            recorder.event(GUARDIAN_ACTED, **fields)
        _journal_inputs(kept.inputs, recorder, kept.checked.accepted)
        left = [planned.label for planned in kept.checked.plan[kept.progress.next_index :]]
        began = {"index": kept.progress.next_index, "step": left[0] if left else ""}
        recorder.event(RUN_RESUMED, **began, simulated=opened.simulated_roles)
        return perform(kept.files, kept.checked, opened, recorder, observer, kept.progress)

    return Result(closed_behind(recorder, work), folder.path, recorder.simulation)


@dataclass(frozen=True)
class KeptRun:
    """A run as its folder keeps it, ready to go on: its journal and how it began, its inputs, its documents, what
    preflight says of them, and how far it came."""

    events: Sequence[Mapping[str, Any]]
    began: Mapping[str, Any]
    inputs: InputsCheck
    files: Files
    checked: Preflight
    progress: Progress


def kept_run(folder: RunFolder, *, unattended: bool = False, accepted: str = "") -> KeptRun:
    """Read a run folder in order to go on with it; see `resume`, also for what this raises."""
    events = read_journal(folder.journal).unbroken().events
    began = _beginning(events, folder.path)
    inputs = check_inputs(folder, events)
    reason = accepted.strip()
    if inputs.changed and not reason:
        advice = "put the file back as it was, or give the reason with --accept REASON"
        raise PreflightRefused([f"{change}; {advice}" for change in inputs.changed])
    files = kept_files(folder, began)
    checked = preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=unattended)
    checked.refuse_hazards(accepted=reason if inputs.changed else reason or "they were when the run began")
    progress = progress_of(checked.plan, events)
    if progress.next_index == len(checked.plan) and _is_complete(folder, events):
        raise UsageError("every step of this run is finished; there is nothing to go on with")
    progress = replace(progress, remarks=(*_remarks(inputs), *_of_methods(events)))
    return KeptRun(events, began, inputs, files, replace(checked, accepted=reason), progress)


def _journal_inputs(inputs: InputsCheck, recorder: Recorder, reason: str) -> None:
    """Record that inputs are accepted as they are now, or that they have never been hashed."""
    if not inputs.changed and not inputs.was_never_hashed:
        return
    about = {"inputs": dict(inputs.hashes), "texts": dict(texts_of(recorder.folder, inputs.hashes))}
    if inputs.changed:
        recorder.event(INPUTS_ACCEPTED, reason=reason, changed=list(inputs.changed), **about)
    else:
        recorder.event(INPUTS_KEPT, **about)


def _remarks(inputs: InputsCheck) -> tuple[str, ...]:
    """What the person must know about the inputs before anything is switched on."""
    unproven = [f"cannot be checked: {inputs.unproven}"] if inputs.unproven else []
    return (*(f"accepted: {change}" for change in inputs.changed), *unproven)


def _of_methods(events: Sequence[Mapping[str, Any]]) -> tuple[str, ...]:
    """That what is measured from here on is computed by another method than what there is of the run."""
    made = {entry.method for entry in entries_of(events)}
    if made <= {METHOD}:
        return ()
    was = f"method{'s' if len(made) > 1 else ''} {methods_in_words(made)}"
    return (
        f"the figures so far were computed by {was}, those from here on by method {METHOD}; they are kept apart by "
        "their number",
    )


def _is_complete(folder: RunFolder, events: Sequence[Mapping[str, Any]]) -> bool:
    """Whether the last part of the run finished on a bench that was known to be safe, and closed its folder."""
    last = [event for event in events if event["event"] in (RUN_STARTED, RUN_RESUMED, RUN_ENDED)][-1]
    has_finished = last["event"] == RUN_ENDED and last["safe"] and last["reason"] == FINISHED
    return has_finished and folder.is_closed


def _beginning(events: Sequence[Mapping[str, Any]], path: Path) -> Mapping[str, Any]:
    started = [event for event in events if event["event"] == RUN_STARTED]
    if not started:
        raise UsageError(f"the journal in {path} does not say how the run began, so nothing can go on from it")
    return started[0]


def kept_files(folder: RunFolder, began: Mapping[str, Any]) -> Files:
    """The documents as they were used. A later change to the owner's files must not affect the run."""
    amplifier = load_amplifier(folder.kept_input("amplifier.yaml"))
    sequence = load_sequence(folder.kept_input("sequence.yaml"), amplifier, began["settings"])
    bench = bench_as_tested(_kept_bench(folder, began), sequence)
    return Files(sequence, bench, amplifier_as_tested(amplifier, sequence))


def _kept_bench(folder: RunFolder, began: Mapping[str, Any]) -> Bench:
    """The bench with the drivers as they were used. An earlier version of the program kept none; then the owner's own
    files are used.
    """
    file = folder.kept_input("bench.yaml")
    if folder.kept_drivers:
        return load_kept_bench(file, folder.kept_drivers)
    return load_bench(file, near=Path(began.get("bench_folder", folder.inputs)))


def _check_same_instruments(before: Mapping[str, str], opened: Opened) -> None:
    """Another instrument has other errors and settings, so its figures must not be mixed with those of the first."""
    now = opened.bench.identities()
    changed = [
        f"the {role} answered '{before.get(role, 'nothing')}' when the run began and '{identity}' now"
        for role, identity in now.items()
        if before.get(role) != identity
    ]
    if changed:
        raise PreflightRefused(changed)
