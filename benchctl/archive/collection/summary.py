"""What a run was, in short: read from its folder in less than a millisecond, without pandas and without its captures.

Figures come from figures.csv; of a run that was cut off, from its journal. The lines of the journal are checked against
their hashes. Inputs, captures and the trend are not looked at: `benchctl verify` does that.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from benchctl.archive.collection.document_facts import fact, text_of
from benchctl.archive.collection.figure_rows import NO_FIGURES, FigureTable, table_of_file, table_of_journal
from benchctl.archive.collection.journal_told import Told, read_told
from benchctl.archive.collection.overall import Counts, OverallVerdict, overall_verdict
from benchctl.archive.folder import RunFolder, made_at
from benchctl.archive.folder_lock import is_being_written
from benchctl.archive.journal.ending import Ending, ending_of
from benchctl.archive.journal.events import INPUTS_KEPT, RUN_ENDED, RUN_RESUMED, RUN_STARTED, TRIP
from benchctl.archive.journal.notes import Note, notes_of
from benchctl.archive.journal.simulation import Simulation, simulation_of
from benchctl.errors import ArchiveError, quote


@dataclass(frozen=True)
class RunSummary:
    """One run. What its folder does not tell is '', None or empty.

    Attributes:
        folder: where it is.
        run: what identifies it in tables: `run` of figures.csv. Equal dry runs share it.
        began: when, UTC; None of a dry run in a folder that was renamed.
        duration_s: on the run's clock, up to the last event.
        sequence, amplifier, bench: the titles of its documents.
        amplifier_class: class of the output stage, as AB.
        serial: of the amplifier.
        simulation: which of the instruments were simulated.
        is_dry: whether it was a dry run, in virtual time.
        version: of the program that began it.
        methods: by which its figures were computed, see `measure.method`.
        ending: who or what ended it; `killed` where the journal tells no end, and nobody writes it any more.
        reason: why it ended, in the journal's words; '' of one that came to its end, and where no end is told.
        exit_code: as the command ended; None where no end is told.
        is_safe: whether every instrument confirmed the safe state at the last end; None where no end is told.
        verdict: on the whole run, by the rule of its page.
        counts: how many figures have which verdict.
        figures: all of them, in the order of measurement.
        notes: what a person wrote.
        problems: what is wrong with the folder, in sentences.
    """

    folder: Path
    run: str
    began: datetime | None
    duration_s: float
    sequence: str
    amplifier: str
    amplifier_class: str
    serial: str
    bench: str
    simulation: Simulation
    is_dry: bool
    version: str
    methods: tuple[int, ...]
    ending: Ending
    reason: str
    exit_code: int | None
    is_safe: bool | None
    verdict: OverallVerdict
    counts: Counts
    figures: FigureTable = NO_FIGURES
    notes: tuple[Note, ...] = ()
    problems: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """The folder's."""
        return self.folder.name

    @property
    def is_simulated(self) -> bool | None:
        """Whether any of its instruments was simulated or replayed; None where the journal does not say."""
        return self.simulation.is_simulated


def summary_of(path: Path) -> RunSummary:
    """What the run in the folder at `path` was.

    Raises:
        UsageError: there is no run folder at `path`.
        ArchiveError: its journal cannot be read, or tells of no run.
    """
    folder = RunFolder.open(path)
    told, is_running = _told(folder)
    began = next((event for event in told.events if event["event"] == RUN_STARTED), None)
    if began is None:
        raise ArchiveError(
            f"{folder.journal} {'is broken: ' + told.broken if told.broken else 'tells of no run that began'}",
            advice="Put journal.jsonl back as the run left it, from a copy.",
        )
    try:
        return _summary(folder, told, began, is_running=is_running)
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
        raise ArchiveError(
            f"{folder.journal} holds an event that no run writes: {quote(error)}",
            advice="Put journal.jsonl back as the run left it, from a copy.",
        ) from error


def _told(folder: RunFolder) -> tuple[Told, bool]:
    """What the journal tells, and whether the run still goes on. A run may end between the two looks, so a journal
    without an end is read once more when nobody writes it any more."""
    told = read_told(folder.journal)
    if _end_of(told) is not None:
        return told, False
    return (told, True) if is_being_written(folder) else (read_told(folder.journal), False)


def _summary(folder: RunFolder, told: Told, began: Mapping[str, Any], *, is_running: bool) -> RunSummary:
    figures, problems = _figures(folder, told)
    ending, ended = _ending(told, is_running=is_running)
    problems = (*_problems(told, ending), *problems)
    counts = _counts(figures, told.unmeasured)
    sequence, bench, amplifier = _documents(folder, told)
    reason = str(ended.get("reason", ""))
    return RunSummary(
        folder=folder.path,
        run=str(began.get("run", "")),
        began=_began(folder, began),
        duration_s=told.last_s,
        sequence=fact(sequence, "title"),
        amplifier=str(began.get("amplifier", "")) or fact(amplifier, "title"),
        amplifier_class=fact(amplifier, "class"),
        serial=str(began.get("serial", "")),
        bench=fact(bench, "title"),
        simulation=simulation_of(told.events),
        is_dry=bool(began.get("dry_run", False)),
        version=str((began.get("versions") or {}).get("benchctl", "")),
        methods=tuple(sorted(told.methods)),
        ending=ending,
        reason="" if ending == "finished" else reason,
        exit_code=int(ended.get("exit_code", 5)) if ended else None,
        is_safe=bool(ended.get("safe", False)) if ended else None,
        verdict=overall_verdict(counts, is_finished=ending == "finished", is_changed=bool(told.changed or told.broken)),
        counts=counts,
        figures=figures,
        notes=tuple(notes_of(told.events)),
        problems=tuple(within(folder.path, problem) for problem in problems),
    )


def within(folder: Path, text: str) -> str:
    """A sentence that names files of a run folder as they are named inside it: the folder may be moved."""
    return text.replace(f"{folder}{os.sep}", "")


def _figures(folder: RunFolder, told: Told) -> tuple[FigureTable, tuple[str, ...]]:
    """From the table where the run has closed it, else from the journal; and what is wrong with the table."""
    if not folder.is_closed:
        missing = f"{folder.figures} is not there; its figures are read from the journal"
        return _in_journal(folder, told), (missing,) if told.analyses > 0 and _lacks_table(folder) else ()
    try:
        return table_of_file(folder), ()
    except ArchiveError as error:
        return _in_journal(folder, told), (f"{error.message}; its figures are read from the journal",)


def _lacks_table(folder: RunFolder) -> bool:
    """A run writes it last of all, so it is looked for last of all."""
    return not (folder.is_cut_off or is_being_written(folder) or folder.figures.is_file())


def _in_journal(folder: RunFolder, told: Told) -> FigureTable:
    return table_of_journal(folder) if told.analyses else NO_FIGURES


def _ending(told: Told, *, is_running: bool) -> tuple[Ending, Mapping[str, Any]]:
    """The last part's; the event is empty where no end is told."""
    last = _end_of(told)
    if last is None:
        return "running" if is_running else "killed", {}
    return ending_of(last, [event.get("reason") for event in told.events if event["event"] == TRIP]), last


def _end_of(told: Told) -> Mapping[str, Any] | None:
    """How the last part of the run ended; None where no end is told."""
    last = told.last_of(RUN_STARTED, RUN_RESUMED, RUN_ENDED)
    return last if last is not None and last["event"] == RUN_ENDED else None


def _problems(told: Told, ending: Ending) -> Iterator[str]:
    if told.changed:
        yield f"the journal was changed after the run wrote it: {told.changed}"
    if told.broken:
        yield f"the journal is broken, and what follows the break is left out: {told.broken}"
    if told.is_torn and ending != "running":
        yield "the journal's last line is torn, as by a crash"


def _counts(figures: FigureTable, unmeasured: int) -> Counts:
    verdicts = figures.column("verdict")
    contradicted = sum(map(bool, figures.column("contradiction")))
    passes, fails, inconclusive = (verdicts.count(word) for word in ("passes", "fails", "inconclusive"))
    return Counts(passes, fails, inconclusive, unmeasured, contradicted)


def _documents(folder: RunFolder, told: Told) -> list[str]:
    """The texts of sequence, bench and amplifier: the journal's, or the files of an earlier version's run."""
    kept = told.last_of(INPUTS_KEPT) or {}
    texts = kept.get("texts") or {}
    names = ("sequence.yaml", "bench.yaml", "amplifier.yaml")
    return [str(texts[name]) if name in texts else text_of(folder.inputs / name) for name in names]


def _began(folder: RunFolder, began: Mapping[str, Any]) -> datetime | None:
    """When the folder was made, which its name begins with; the journal's own where it was renamed. The time in the
    journal of a dry run is virtual."""
    if made := made_at(folder.name) or made_at(folder.path.resolve().name):
        return made
    if began.get("dry_run"):
        return None
    with suppress(ValueError):
        return datetime.fromisoformat(str(began["wall"])).astimezone(UTC)
    return None
