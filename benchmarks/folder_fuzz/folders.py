"""Three run folders to change: from a run that finished, one that a person stopped, and one that was killed."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

from benchctl.errors import OperatorStop
from benchctl.launch.opened import opened_bench
from benchctl.launch.run import run_on
from benchctl.runner.acting.run import Run
from benchctl.runner.checks.preflight import Preflight, preflight
from benchctl.runner.plan import PlannedStep, expand
from benchmarks.fault_campaign.trial import files_with
from benchmarks.nobody import Nobody

STOPPED_AT = 5  # step of the short sequence, by index: half of its figures are there


class _Stops(Nobody):
    """A person who stops the run when a step begins."""

    def __init__(self, index: int) -> None:
        self._index = index

    def started(self, _checked: Preflight, run: Run) -> None:
        self._run = run

    def step_started(self, index: int, _planned: PlannedStep) -> None:
        if index == self._index:
            self._run.interlock.open(OperatorStop("stopped by the operator"))


@dataclass(frozen=True)
class Folders:
    """The folders, by how the run ended."""

    finished: Path
    stopped: Path
    killed: Path

    def all(self) -> tuple[Path, ...]:
        return self.finished, self.stopped, self.killed


def make_folders(out: Path) -> Folders:
    """Dry runs of the short sequence of the fault campaign."""
    finished = _run(out / "finished", Nobody())
    stopped = _run(out / "stopped", _Stops(STOPPED_AT))
    return Folders(finished, stopped, _killed(stopped, out / "killed"))


def _run(out: Path, observer: Nobody) -> Path:
    files = files_with([])
    checked = preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=True)
    with opened_bench(files, dry_run=True) as opened:
        return run_on(opened, files, checked, observer, out=out).folder


def _killed(stopped: Path, folder: Path) -> Path:
    """The folder as if the run had been killed before it could write how it ended."""
    shutil.copytree(stopped, folder)
    lines = (folder / "journal.jsonl").read_bytes().splitlines(keepends=True)
    (folder / "journal.jsonl").write_bytes(b"".join(lines[:-2]) + lines[-2][:40])
    (folder / "trend.csv").rename(folder / "trend.csv.part")
    return folder
