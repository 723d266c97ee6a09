"""What a run folder tells, as far as it goes: documents, events, figures, trend, and what is missing of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

import pandas as pd

from benchctl.archive.evidence.findings import Findings, findings_of
from benchctl.archive.files import read_bytes
from benchctl.archive.folder import RunFolder
from benchctl.archive.folder_lock import is_being_written
from benchctl.archive.journal.entries import FiguresEntry, parts_of, with_contradictions
from benchctl.archive.journal.events import RUN_STARTED, ZEROS
from benchctl.archive.journal.journal import Event, JournalRead, read_as_far_as_whole
from benchctl.archive.journal.simulation import Simulation, simulation_of
from benchctl.archive.tables.trend import read_trend
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bridging import amplifier_as_tested, bench_as_tested
from benchctl.documents.reader import load_amplifier, load_kept_bench, load_sequence
from benchctl.documents.sequence_file.sequence import Sequence as SequenceFile
from benchctl.documents.text.private_lines import private_lines
from benchctl.errors import ArchiveError, DocumentError, UsageError
from benchctl.measure.conditions import Conditions
from benchctl.report.reading.step_history import StepTaken, steps_taken

_D = TypeVar("_D")


@dataclass(frozen=True)
class RunRecord:
    """One run as its folder tells it. A document that cannot be read is None, and `missing` says why; `findings` say
    whether the folder is as the run left it, `is_running` whether the run still goes on."""

    folder: RunFolder
    events: tuple[Event, ...]
    steps: tuple[StepTaken, ...]
    entries: tuple[FiguresEntry, ...]
    sequence: SequenceFile | None
    bench: Bench | None
    amplifier: Amplifier | None
    trend: pd.DataFrame | None
    missing: tuple[str, ...]
    findings: Findings = field(default_factory=Findings)
    is_running: bool = False

    def of_kind(self, kind: str) -> list[Event]:
        """The events of one kind, in order."""
        return [event for event in self.events if event["event"] == kind]

    def step_of(self, entry: FiguresEntry) -> StepTaken | None:
        """The step that an analysis belongs to: the last of its name that had begun by then."""
        found = (step for step in reversed(self.steps) if step.label == entry.step and step.number < entry.number)
        return next(found, None)

    @property
    def usual(self) -> Conditions:
        """What conditions need not say: that every channel was driven."""
        return Conditions(driven=tuple(self.amplifier.channels) if self.amplifier else ())

    @property
    def name(self) -> str:
        """The folder's, however it was named on the command line."""
        return self.folder.path.resolve().name

    @property
    def began(self) -> Mapping[str, Any]:
        """The event that tells how the run began; empty where there is none."""
        return next(iter(self.of_kind(RUN_STARTED)), {})

    @property
    def is_dry(self) -> bool:
        """Whether it was a dry run, in virtual time."""
        return bool(self.began.get("dry_run", False))

    @property
    def simulation(self) -> Simulation:
        """Which instruments were simulated, in a dry run or served by `benchctl simulate`."""
        return simulation_of(self.events)

    @property
    def title(self) -> str:
        """The sequence's."""
        return self.sequence.title if self.sequence else "Sequence that cannot be read"

    @property
    def unit(self) -> str:
        """The amplifier, with its serial number where it has one."""
        if self.amplifier is None:
            return "Amplifier that cannot be read"
        return self.amplifier.title + (f", serial {self.amplifier.serial}" if self.amplifier.serial else "")

    @property
    def duration_s(self) -> float:
        """On the run's clock, up to the last thing that its journal tells."""
        return float(self.events[-1]["time_s"]) if self.events else 0.0


def read_run_record(path: Path) -> RunRecord:
    """Everything that the folder at `path` still tells.

    Raises:
        UsageError: there is no run folder at `path`.
        ArchiveError: its journal cannot be opened.
    """
    folder = RunFolder.open(path)
    return _Reader(folder).run_record()


@dataclass
class _Reader:
    folder: RunFolder
    missing: list[str] = field(default_factory=list)

    def run_record(self) -> RunRecord:
        is_running = is_being_written(self.folder)
        journal = self._journal(is_running=is_running)
        events = journal.events
        began: Mapping[str, Any] = next((event for event in events if event["event"] == RUN_STARTED), {})
        inputs = self.folder.inputs
        amplifier = self._document("amplifier.yaml", lambda: load_amplifier(inputs / "amplifier.yaml"))
        settings = began.get("settings", {})
        sequence = self._document("sequence.yaml", lambda: load_sequence(inputs / "sequence.yaml", amplifier, settings))
        bench = self._document("bench.yaml", lambda: load_kept_bench(inputs / "bench.yaml"))
        if sequence is not None and amplifier is not None:
            amplifier = self._document("amplifier.yaml", partial(amplifier_as_tested, amplifier, sequence))
        if sequence is not None and bench is not None:
            bench = self._document("bench.yaml", partial(bench_as_tested, bench, sequence))
        entries = tuple(with_contradictions(parts_of(events, self._entry)))
        zeros = [event for event in events if event["event"] == ZEROS]
        self._miss_captures(entries, zeros, is_running=is_running)
        trend = self._trend()
        return RunRecord(
            folder=self.folder,
            events=events,
            steps=tuple(steps_taken(events)),
            entries=entries,
            sequence=sequence,
            bench=bench,
            amplifier=amplifier,
            trend=trend,
            missing=tuple(self.missing),
            findings=findings_of(self.folder, journal),
            is_running=is_running,
        )

    def _journal(self, *, is_running: bool) -> JournalRead:
        journal, trouble = read_as_far_as_whole(self.folder.journal)
        if trouble:
            self.missing.append(f"The journal is broken, and what follows the break is left out: {trouble}")
        elif journal.torn is not None and not is_running:
            self.missing.append(f"The journal's last line is torn, as by a crash: {journal.torn[:60]!r}")
        if not journal.events:
            self.missing.append("The journal holds no event.")
        return journal

    def _document(self, name: str, load: Callable[[], _D]) -> _D | None:
        """A document as the run kept it; one that was never kept is not a shipped one of that name."""
        try:
            if not (self.folder.inputs / name).is_file():
                raise UsageError("it is not there")
            return load()
        except (DocumentError, UsageError) as error:
            first, *others = self._said(name, error)
            more = f" (and {len(others)} more)" if others else ""
            self.missing.append(f"inputs/{name} cannot be read: {first}{more}")
            return None

    def _said(self, name: str, error: DocumentError | UsageError) -> list[str]:
        """What is wrong with a document, without quoting from a part that may name a person: a page shows this."""
        if isinstance(error, UsageError):
            return error.message.splitlines()
        file = self.folder.inputs / name
        try:
            private = private_lines(read_bytes(file).decode("utf-8", errors="replace"))
        except ArchiveError:
            private = frozenset()
        return [
            f"{file}:{each.line}:{each.column}: what is written here is not accepted"
            if each.line in private
            else str(each)
            for each in error.problems
        ]

    def _entry(self, event: Event) -> FiguresEntry | None:
        try:
            return FiguresEntry.of_event(event)
        except ArchiveError as error:
            self.missing.append(f"Figures that cannot be read: {error.message}")
            return None

    def _miss_captures(self, entries: Sequence[FiguresEntry], zeros: Sequence[Event], *, is_running: bool) -> None:
        of_figures = (file for entry in entries for file in entry.captures.values())
        named = dict.fromkeys([*(event["file"] for event in zeros), *of_figures])
        gone = [file for file in named if not self._is_there(file)]
        if gone:
            self.missing.append(f"Captures that are not in the folder: {', '.join(gone)}")
        if entries and not is_running and not self.folder.figures.is_file():
            self.missing.append("figures.csv is not there; the figures here are the journal's.")

    def _is_there(self, file: str) -> bool:
        try:
            return self.folder.inside(file).is_file()
        except (ArchiveError, OSError, ValueError):  # a name that leads elsewhere, or is none
            return False

    def _trend(self) -> pd.DataFrame | None:
        try:
            return read_trend(self.folder)
        except ArchiveError as error:
            self.missing.append(f"The trend cannot be read: {error.message}")
            return None
