"""Go on with a run that ended early, in its own folder, at its first unfinished step."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from benchctl.archive.events import GUARDIAN_ACTED, RUN_ENDED, RUN_RESUMED, RUN_STARTED
from benchctl.archive.folder import RunFolder
from benchctl.archive.guardian import lines_not_told
from benchctl.archive.journal import read_journal
from benchctl.archive.recorder import Recorder
from benchctl.documents.reader import load_amplifier, load_bench, load_sequence
from benchctl.errors import PreflightRefused, UsageError
from benchctl.launch.run import Opened, Result, RunObserver, closed_behind, opened_bench, perform
from benchctl.runner.execute import FINISHED, Outcome
from benchctl.runner.plan import expand
from benchctl.runner.preflight import preflight
from benchctl.runner.progress import progress_of
from benchctl.runner.run import Files


def resume(path: Path, observer: RunObserver, *, unattended: bool = False) -> Result:
    """Go on after the last finished step of the run in `path`, with the documents as the run kept them.

    A dry run goes on as a dry run, on a simulated bench that is cold again. Where every step is finished and only the
    end is missing, or the bench was not known to be safe then, it is made safe and the folder completed.

    Raises:
        UsageError: no run folder, nothing left to do at all, or a journal that does not tell how the run began.
        PreflightRefused: the bench is not the one that the run began on.
        InstrumentError: an instrument could not be opened; nothing was energised.
        ArchiveError: the run folder cannot be read or written.
    """
    folder = RunFolder.open(path)
    events = read_journal(folder.journal).events
    began = _beginning(events, path)
    files = _kept_files(folder, began)
    checked = preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=unattended)
    checked.refuse_hazards(accepted="they were when the run began")
    progress = progress_of(checked.plan, events)
    if progress.next_index == len(checked.plan) and _is_complete(folder, events):
        raise UsageError("every step of this run is finished; there is nothing to go on with")
    with opened_bench(files, dry_run=began["dry_run"], elapsed_s=events[-1]["time_s"]) as opened:
        _check_same_instruments(began["instruments"], opened)
        recorder = Recorder(folder, opened.clock)

        def work() -> Outcome:
            for fields in lines_not_told(folder, events):
                recorder.event(GUARDIAN_ACTED, **fields)
            left = [planned.label for planned in checked.plan[progress.next_index :]]
            recorder.event(RUN_RESUMED, index=progress.next_index, step=left[0] if left else "")
            return perform(files, checked, opened, recorder, observer, progress)

        return Result(closed_behind(recorder, work), folder.path)


def _is_complete(folder: RunFolder, events: Sequence[Mapping[str, Any]]) -> bool:
    """Whether the last part of the run finished on a bench that was known to be safe, and closed its folder."""
    last = [event for event in events if event["event"] in (RUN_STARTED, RUN_RESUMED, RUN_ENDED)][-1]
    has_finished = last["event"] == RUN_ENDED and last["safe"] and last["reason"] == FINISHED
    return has_finished and folder.is_closed


def _beginning(events: Sequence[Mapping[str, Any]], path: Path) -> Mapping[str, Any]:
    started = [event for event in events if event["event"] == RUN_STARTED]
    if not started:
        raise UsageError(f"the journal in {path} does not tell how the run began, so nothing can go on from it")
    return started[0]


def _kept_files(folder: RunFolder, began: Mapping[str, Any]) -> Files:
    """The documents as they were used; a change to the owner's files since then does not slip into a run half-way.
    Drivers of the owner's own are where they were."""
    amplifier = load_amplifier(folder.inputs / "amplifier.yaml")
    return Files(
        load_sequence(folder.inputs / "sequence.yaml", amplifier, began["settings"]),
        load_bench(folder.inputs / "bench.yaml", near=Path(began["bench_folder"])),
        amplifier,
    )


def _check_same_instruments(before: Mapping[str, str], opened: Opened) -> None:
    """Another instrument has other errors and other settings; figures of both would not belong together."""
    now = opened.bench.identities()
    changed = [
        f"the {role} answered '{before.get(role, 'nothing')}' when the run began and '{identity}' now"
        for role, identity in now.items()
        if before.get(role) != identity
    ]
    if changed:
        raise PreflightRefused(changed)
