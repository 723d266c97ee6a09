"""A run folder, opened: figures, trend, captures, journal and what was kept with them."""

from __future__ import annotations

import os
import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import pandas as pd

from benchctl.archive.collection.naming import run_named
from benchctl.archive.files import read_bytes
from benchctl.archive.journal.events import INPUTS_KEPT
from benchctl.archive.journal.notes import notes_of
from benchctl.archive.tables.run_identity import RunIdentity, run_identity_of
from benchctl.documents.text.private_lines import without_private_lines
from benchctl.errors import ArchiveError
from benchctl.library import runs_root
from benchctl.python.captures import Captures
from benchctl.python.frames import conditions_frame, figures_frame, trend_frame
from benchctl.report.reading.run_outcome import RunOutcome, run_outcome_of
from benchctl.report.reading.run_record import RunRecord, read_run_record

_DOCUMENTS = ("sequence", "bench", "amplifier")


@dataclass(frozen=True)
class WrittenNote:
    """What a person has written on a run, in Markdown; `step` is empty where that was after the run."""

    text: str
    written: str
    step: str
    photographs: tuple[Path, ...]


class OpenedRun:
    """One run as its folder tells it, also if it was stopped or killed. Nothing here changes the folder.

    Use `benchctl.open_run` to make one.
    """

    def __init__(self, run_record: RunRecord, *, with_owner: bool) -> None:
        self._record = run_record
        self._with_owner = with_owner

    # -- which run it is -----------------------------------------------------------------------------------------

    @property
    def folder(self) -> Path:
        """Where it is."""
        return self._record.folder.path

    @property
    def name(self) -> str:
        """The name of the folder."""
        return self._record.name

    @property
    def title(self) -> str:
        """The title of the sequence."""
        return self._record.title

    @property
    def amplifier(self) -> str:
        """The title of the amplifier file."""
        return self._identity.amplifier

    @property
    def serial(self) -> str:
        """The serial number of the unit; empty where the amplifier file has none."""
        return self._identity.serial

    @property
    def simulated(self) -> bool | None:
        """Whether any instrument was simulated, so that this is no measurement. None: that is not on record."""
        return self._identity.simulated

    @property
    def simulated_instruments(self) -> tuple[str, ...]:
        """The roles of the instruments that were simulated."""
        return self._record.simulation.simulated

    @property
    def duration_s(self) -> float:
        """From the beginning to the last thing that the journal tells."""
        return self._record.duration_s

    # -- how it ended --------------------------------------------------------------------------------------------

    @property
    def ending(self) -> str:
        """`finished`, `limit`, `operator`, `requirement`, `failure`, `killed` or `running`."""
        return self._outcome.ending

    @property
    def ended(self) -> str:
        """How it ended, in a sentence."""
        return self._outcome.words

    @property
    def exit_code(self) -> int | None:
        """What the command returned; None of a run that was killed or still goes on."""
        return self._outcome.exit_code

    @property
    def is_safe(self) -> bool:
        """Whether every instrument confirmed at the end that its output is off."""
        return self._outcome.is_safe

    @property
    def missing(self) -> tuple[str, ...]:
        """What cannot be read in the folder, in sentences; empty if all of it can."""
        return self._record.missing

    @property
    def changed(self) -> tuple[str, ...]:
        """What is not as the run left it, in sentences; empty if nothing was changed."""
        return self._record.findings.changed

    # -- what was measured ---------------------------------------------------------------------------------------

    @property
    def figures(self) -> pd.DataFrame:
        """A row for each figure: the columns and words of figures.csv.

        A value is in the unit that stands beside it. Where `bound` is not empty the value is no measurement: only that
        bound is known. `attrs["units"]` has the units of the other columns.
        """
        return self._figures.copy()

    @property
    def trend(self) -> pd.DataFrame:
        """What the guard has read, by `time_s`; NaN where a reading failed. `attrs["units"]` has the units."""
        return trend_frame(self._record.trend)

    @property
    def conditions(self) -> pd.DataFrame:
        """What the bench was set to, a row for each step, record and analysis; `attrs["units"]` has the units."""
        return conditions_frame(self._record.events)

    @cached_property
    def captures(self) -> Captures:
        """The records by the names of their files, as in the column `capture` of the figures."""
        return Captures(self._record.folder, self._record.events, self.simulated)

    @property
    def context(self) -> list[dict[str, Any]]:
        """What each analysis was given besides its records: a dictionary for each, in the order of measurement."""
        return [
            {
                "step": entry.step,
                "analysis": entry.analysis,
                "captures": dict(entry.captures),
                "readings": {name: list(values) for name, values in entry.readings.items()},
                "context": dict(entry.context),
                "method": entry.method,
            }
            for entry in self._record.entries
        ]

    # -- what was kept -------------------------------------------------------------------------------------------

    @property
    def journal(self) -> list[dict[str, Any]]:
        """The events of the journal, in order; each has `number`, `time_s`, `wall` and `event`."""
        return [self._told(event) for event in self._record.events]

    @property
    def documents(self) -> dict[str, str]:
        """The text of `sequence`, `bench` and `amplifier` as the run used them; one that cannot be read is absent.

        Lines that may name a person are left out, unless the run was opened `with_owner`.
        """
        found: dict[str, str] = {}
        for kind in _DOCUMENTS:
            try:
                text = read_bytes(self._record.folder.inputs / f"{kind}.yaml").decode("utf-8", errors="replace")
            except ArchiveError:  # `missing` says so
                continue
            found[kind] = self._public(text)
        return found

    @property
    def notes(self) -> tuple[WrittenNote, ...]:
        """What people have written on the run, during it and later."""
        folder = self._record.folder
        return tuple(
            WrittenNote(note.text, note.wall, note.step, tuple(folder.inside(file) for file in note.photos))
            for note in notes_of(self._record.events)
        )

    def __repr__(self) -> str:
        mark = f"{self._record.simulation.word}. " if self.simulated else ""
        return f"<{mark}{self.title}: {self._record.unit}. {self.ended} {len(self._figures)} figures. {self.folder}>"

    # ------------------------------------------------------------------------------------------------------------

    @cached_property
    def _identity(self) -> RunIdentity:
        return run_identity_of(self._record.events)

    @cached_property
    def _outcome(self) -> RunOutcome:
        return run_outcome_of(self._record)

    @cached_property
    def _figures(self) -> pd.DataFrame:
        return figures_frame(self._record.entries, self._identity)

    def _told(self, event: Mapping[str, Any]) -> dict[str, Any]:
        """The journal has the documents' texts too."""
        if event["event"] != INPUTS_KEPT or self._with_owner:
            return dict(event)
        return {**event, "texts": {name: self._public(text) for name, text in event.get("texts", {}).items()}}

    def _public(self, text: str) -> str:
        return text if self._with_owner else without_private_lines(text)


def open_run(folder: str | Path, *, runs: str | Path | None = None, with_owner: bool = False) -> OpenedRun:
    """Open a run folder, also one of a run that was stopped, killed or damaged; `missing` says what cannot be read.

    Args:
        folder: the run folder; or its name in the folder of runs, `latest`, or the serial number of a unit, which
            means its newest run.
        runs: the folder of runs: `runs`, or what the variable BENCHCTL_RUNS names, if left out.
        with_owner: show also the lines of the documents that may name a person. Do not publish them.

    Raises:
        UsageError: there is no such run.
        ArchiveError: its journal cannot be read.
    """
    meant = _folder_meant(folder, runs_root() if runs is None else Path(runs))
    return OpenedRun(read_run_record(meant), with_owner=with_owner)


def _folder_meant(word: str | Path, root: Path) -> Path:
    """A path that is there comes first."""
    if isinstance(word, Path) or Path(word).exists() or os.sep in word or "/" in word:
        return Path(word)
    if (root / word / "journal.jsonl").is_file():
        return root / word
    named = run_named(word, root)
    for newer in named.newer:
        warnings.warn(f"newer by its name, but not read: {newer}", stacklevel=3)
    return named.run.folder
