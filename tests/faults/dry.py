"""A dry run of a brief sequence on a bench with faults, and a look at the simulator's own state when it is over."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.journal import Event, read_journal
from benchctl.cli.shown.closing_line import last_lines
from benchctl.errors import BenchctlError
from benchctl.launch.opened import Opened, opened_bench
from benchctl.launch.run import Result, run_on
from benchctl.runner.acting.run import Files, Run
from benchctl.runner.checks.preflight import preflight
from benchctl.runner.plan import PlannedStep, expand
from benchctl.simulator.bench import SimulatedBench
from benchmarks.fault_campaign.trial import files_with
from benchmarks.nobody import Nobody

BRIEF = Path(__file__).with_name("brief.yaml")


class Meddler(Nobody):
    """An observer that does something to the run when the step of a given index begins."""

    def __init__(self, index: int = -1, meddle: Callable[[Run], None] = lambda _: None) -> None:
        self._index = index
        self._meddle = meddle
        self.notes: list[str] = []
        self.run: Run

    def started(self, checked: object, run: Run) -> None:
        self.run = run

    def step_started(self, index: int, planned: PlannedStep) -> None:
        if index == self._index:
            self._meddle(self.run)

    def note(self, text: str) -> None:
        self.notes.append(text)


@dataclass(frozen=True)
class Ended:
    """How a run ended: a result, or the error that it raised; and what was still on."""

    result: Result | None
    error: BenchctlError | None
    still_on: tuple[str, ...]
    struck: dict[str, int]
    was_driven: bool

    @property
    def exit_code(self) -> int:
        if self.result is not None:
            return self.result.outcome.exit_code
        assert self.error is not None
        return self.error.exit_code

    @property
    def said(self) -> str:
        """The last text that a person sees."""
        if self.result is not None:
            return str(last_lines(self.result))
        return f"{self.error} {self.error.advice}" if self.error is not None else ""

    @property
    def events(self) -> Sequence[Event]:
        assert self.result is not None
        return read_journal(RunFolder.open(self.result.folder).journal).events


def dry_run(out: Path, *faults: str, meddler: Meddler | None = None, repeats: bool = False) -> Ended:
    """Run the brief sequence; `faults` are lines of the bench file, `repeats` what its steps do after a power cycle."""
    return dry_run_of(files_with(faults, repeats=repeats, sequence_file=BRIEF), out, meddler)


def dry_run_of(files: Files, out: Path, meddler: Meddler | None = None) -> Ended:
    """Run a sequence with these files."""
    checked = preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=True)
    checked.refuse_hazards()
    try:
        with opened_bench(files, dry_run=True) as opened:
            return _ended(opened, lambda: run_on(opened, files, checked, meddler or Meddler(), out=out))
    except BenchctlError as never_open:
        return Ended(None, never_open, still_on=(), struck={}, was_driven=False)


def _ended(opened: Opened, work: Callable[[], Result]) -> Ended:
    simulated = opened.simulated
    assert simulated is not None
    result: Result | None = None
    error: BenchctlError | None = None
    try:
        result = work()
    except BenchctlError as caught:
        error = caught
    was_driven = simulated.physical_bench.meters.supplied > 0
    return Ended(result, error, still_on(simulated), dict(simulated.faults.struck), was_driven)


def still_on(simulated: SimulatedBench) -> tuple[str, ...]:
    """Outputs and loads that are on, from the simulator's own state."""
    connections = simulated.physical_bench.connections
    outputs = [f"supply {number}" for number, output in connections.outputs.items() if output.live]
    return (
        *(["generator"] if connections.drive.output_on else []),
        *outputs,
        *(["load"] if connections.closed_relays else []),
    )
