"""Run a sequence from a program, exactly as the command does."""

from __future__ import annotations

import threading
import warnings
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from benchctl.errors import BenchctlError, NotConfirmedOff
from benchctl.guard.confirmation import not_safe_in_words
from benchctl.launch import run as launch
from benchctl.launch.acknowledgement import require_acknowledgement
from benchctl.library import runs_root
from benchctl.python.opened_run import OpenedRun, open_run
from benchctl.python.watching import Watcher, acknowledged_by
from benchctl.watch.stopping import operator_can_stop


def run(
    sequence: str | Path,
    bench: str | Path,
    amplifier: str | Path,
    *,
    dry_run: bool = True,
    settings: Mapping[str, str] | None = None,
    accept: str = "",
    cautions: str = "",
    ask: Callable[[str], str] | None = None,
    tell: Callable[[str], object] | None = None,
    record: bool = False,
    report: bool = True,
    out: str | Path | None = None,
) -> OpenedRun:
    """Run a sequence and open what it leaves. Verdicts that fail are no error: `exit_code` and `figures` have them.

    In the main thread Ctrl-C, and a notebook's stop button, bring the bench to the safe state and end the run.

    Args:
        sequence, bench, amplifier: files, or names of shipped ones.
        dry_run: simulated instruments, in virtual time. False switches on the instruments of the bench file.
        settings: parameters of the sequence, such as {"supply": "13.8V"}.
        accept: why preflight's warnings are accepted; without a reason they are refused.
        cautions: 'understood', once you have read SAFETY.md: it is asked for before the first real run on a bench.
        ask: asks a person at the bench, such as `input`. Without it a real run refuses what needs hands.
        tell: is given each step and whatever a person should know, such as `print`.
        record: keep all that is said to the instruments, so that the run can be replayed.
        report: leave report.html in the run folder.
        out: the folder in which the run folder is made: `runs`, or what the variable BENCHCTL_RUNS names, if left out.

    Raises:
        DocumentError, UsageError, PreflightRefused: nothing was touched.
        OperatorStop: the cautions were not acknowledged, or a person stopped the run.
        LimitTripped, InstrumentError, GuardianLost, RequirementFailed: the run ended early and the bench is safe;
            `run_folder` of the error is the folder of the run.
        NotConfirmedOff: an output is not known to be off.
        ArchiveError: the run folder cannot be written.
    """
    documents = launch.Documents(sequence, bench, amplifier, dict(settings or {}))
    if not dry_run:
        require_acknowledgement(documents.load().bench, acknowledged_by(cautions), unattended=False)
    watcher = Watcher(tell, ask)
    result = _performed(
        documents, watcher, out, dry_run=dry_run, attended=ask is not None, accepted=accept, records=record
    )
    if report:
        leave_report(result.folder)
    raise_its_end(result)
    return open_run(result.folder)


def _performed(
    documents: launch.Documents,
    watcher: Watcher,
    out: str | Path | None,
    *,
    dry_run: bool,
    attended: bool,
    accepted: str,
    records: bool,
) -> launch.Result:
    """The run, which signals stop while it goes on; a dry run needs nobody at the bench."""
    with _stopped_by_signals(watcher):
        return launch.run(
            documents,
            watcher,
            out=runs_root() if out is None else Path(out),
            dry_run=dry_run,
            unattended=not dry_run and not attended,
            accepted=accepted,
            records=records,
        )


def raise_its_end(result: launch.Result) -> None:
    """Raise what has ended a run early.

    Raises:
        NotConfirmedOff: the bench is not known to be safe, which matters more than why.
        BenchctlError: why it ended.
    """
    error = result.outcome.error
    if not result.outcome.is_safe:
        unsafe = NotConfirmedOff("\n".join(not_safe_in_words(result.outcome.confirmations)))
        unsafe.run_folder = result.folder
        raise unsafe from error
    if error is not None:
        raise kept_in(error, result.folder)


def kept_in(error: BenchctlError, folder: Path) -> BenchctlError:
    """The error, with where the run is kept; said once, however often it is raised."""
    if error.run_folder is None:
        error.run_folder = folder
        error.add_note(f"What was measured is kept: benchctl.open_run({str(folder)!r})")
    return error


def leave_report(folder: Path) -> None:
    """The page of a run that has ended; if it cannot be written, that hides nothing of the run."""
    # Heavy, and whoever wants no page needs none of it.
    from benchctl.report.page import write_report  # noqa: PLC0415
    from benchctl.report.reading.run_record import read_run_record  # noqa: PLC0415

    try:
        write_report(read_run_record(folder))
    except BenchctlError as error:
        warnings.warn(f"there is no report of the run in {folder}: {error}", stacklevel=3)


@contextmanager
def _stopped_by_signals(watcher: Watcher) -> Iterator[None]:
    """Signals reach the main thread only; a run in another one goes on to its end."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    with operator_can_stop(watcher):
        yield
