"""The work on one run: is it done already, and if not, its figures again as a table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from importlib.metadata import version
from pathlib import Path

from benchctl.archive.files import disk_errors, read_bytes
from benchctl.archive.folder import CAPTURES, RunFolder
from benchctl.archive.folder_lock import is_being_written
from benchctl.archive.journal.journal import Event, parse_journal
from benchctl.archive.reanalysis.again import NEW, NOT_COMPUTED_ANY_MORE, Compared, computed_again
from benchctl.archive.reanalysis.table import table_of
from benchctl.archive.tables.run_identity import run_identity_of
from benchctl.errors import BenchctlError
from benchctl.measure.method import METHOD
from benchctl.spread.program import hash_of_code

# What figures depend on besides the record: the folders of the package that compute and judge them.
_COMPUTING = ("archive", "documents", "measure")
STILL_GOES_ON = "the run still goes on"


@dataclass(frozen=True)
class RunTask:
    """A run to compute again. `name` is its folder below that of the collection; `done` the hash of what it was
    computed from before, '' if it never was."""

    name: str
    path: Path
    done: str = ""


@dataclass(frozen=True)
class RunResult:
    """What became of a run. `table` is None where nothing had to be done, and where `error` says why nothing could."""

    inputs: str = ""
    error: str = ""
    run: str = ""
    amplifier: str = ""
    serial: str = ""
    methods_before: str = ""
    figures: int = 0
    changed: int = 0
    verdicts_turned: int = 0
    new: int = 0
    not_computed: int = 0
    table: bytes | None = None

    @property
    def is_as_before(self) -> bool:
        """Whether nothing had to be done."""
        return self.table is None and not self.error


def compute_run(task: RunTask) -> RunResult:
    """Compute a run again, unless that was done before from the same record by the same program. It reads the run
    folder and writes nothing."""
    try:
        folder = RunFolder.open(task.path)
        if is_being_written(folder):
            return RunResult(error=STILL_GOES_ON)
        journal = read_bytes(folder.journal)
        inputs = _hash_of_inputs(folder, journal)
        if inputs == task.done:
            return RunResult(inputs)
        events = parse_journal(journal, folder.journal).events
        if not events:
            return RunResult(error=f"{folder.journal} holds no whole event")
        return _result(inputs, events, computed_again(folder, events))
    except BenchctlError as error:
        return RunResult(error=error.message)


def _result(inputs: str, events: Sequence[Event], figures: Sequence[Compared]) -> RunResult:
    run = run_identity_of(events)
    kinds = [figure.changes for figure in figures]
    return RunResult(
        inputs,
        run=run.run,
        amplifier=run.amplifier,
        serial=run.serial,
        methods_before=" ".join(sorted({str(figure.entry.method) for figure in figures})),
        figures=len(figures),
        changed=sum(bool(kind) and kind[0] not in (NEW, NOT_COMPUTED_ANY_MORE) for kind in kinds),
        verdicts_turned=sum(figure.verdict_turned for figure in figures),
        new=kinds.count((NEW,)),
        not_computed=kinds.count((NOT_COMPUTED_ANY_MORE,)),
        table=table_of(figures, run, version("benchctl")),
    )


def _hash_of_inputs(folder: RunFolder, journal: bytes) -> str:
    """Of all that the result depends on: the journal, the captures by name, size and time of writing, and the program.

    To read all captures for this would take as long as a part of the work itself.
    """
    digest = sha256(f"{_program()}\n{len(journal)}\n".encode())
    digest.update(journal)
    for file in folder.capture_files():
        with disk_errors("read", folder.path / file):
            found = (folder.path / file).stat()
        digest.update(f"{file.removeprefix(CAPTURES)} {found.st_size} {found.st_mtime_ns}\n".encode())
    return digest.hexdigest()


@cache
def _program() -> str:
    parts = (str(METHOD), version("benchctl"), hash_of_code(*_COMPUTING), version("numpy"))
    return " ".join(parts)
