"""The one object that a run writes its results to."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import asdict, replace
from hashlib import sha256
from typing import Any

from benchctl.archive.captures import save_capture
from benchctl.archive.files import Whereabouts, read_bytes
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import (
    FiguresEntry,
    as_stored,
    context_as_json,
    parts_of,
    positions_of,
    readings_as_json,
    with_contradictions,
)
from benchctl.archive.journal.events import CAPTURE, FIGURES, HANDS, NEW_PARTS, STEP_GIVEN_UP
from benchctl.archive.journal.journal import Journal, read_journal
from benchctl.archive.journal.simulation import Simulation, begins_part, simulation_of
from benchctl.archive.tables.figures_csv import write_figures
from benchctl.archive.tables.run_identity import RunIdentity, run_identity_of
from benchctl.archive.tables.trend import Trend
from benchctl.clock import Clock
from benchctl.documents.model.criteria import Criterion
from benchctl.measure.agreement.comparison import Comparison
from benchctl.measure.budget.figure import Figure
from benchctl.measure.conditions import Conditions
from benchctl.measure.method import METHOD
from benchctl.measure.signal.record import Capture


class Recorder:
    """Journal, captures, figures and trend of one run folder; a folder with an earlier part of the run is gone on with.

    What a method has been given is on the disk when it returns; only the trend may lag. figures.csv, a table of what
    the journal has, is written by `finish`.

    Raises:
        ArchiveError: from here and from every method, when the folder cannot be written.
    """

    def __init__(self, folder: RunFolder, clock: Clock) -> None:
        self.folder = folder
        events = read_journal(folder.journal).unbroken().events if folder.journal.exists() else ()
        self._parts = parts_of(events)
        self._positions = positions_of(events)
        self._part_beginnings = [event for event in events if begins_part(event)]
        whereabouts = Whereabouts()
        self._journal = Journal(folder.journal, clock, whereabouts)
        self._trend = Trend(folder, whereabouts)

    @property
    def measured(self) -> tuple[FiguresEntry, ...]:
        """Every analysis of the run so far with its figures, as stored, in order."""
        return tuple(with_contradictions(self._parts))

    @property
    def positions(self) -> Mapping[str, str]:
        """What a person has said of each control and whatever else was asked for, as it was last."""
        return dict(self._positions)

    @property
    def identity(self) -> RunIdentity:
        """Which run this is, as figures.csv tells it."""
        return run_identity_of(self._part_beginnings)

    @property
    def simulation(self) -> Simulation:
        """Which instruments of the run are simulated, in any of its parts so far."""
        return simulation_of(self._part_beginnings)

    def hands(self, request: str, answers: Mapping[str, str]) -> None:
        """Keep that a person was asked to do something, and what they said of each thing that was asked for."""
        self.event(HANDS, request=request, answers=dict(answers))
        self._positions |= answers

    def event(self, kind: str, /, **fields: Any) -> None:
        """Write an event of this kind into the journal; see `Journal.append`."""
        event = self._journal.append(kind, **fields)
        if begins_part(event):
            self._part_beginnings.append(event)
        if kind in NEW_PARTS:
            self._parts.append([])

    def capture(self, capture: Capture) -> str:
        """Store a capture; returns its file's name in the folder, such as 'captures/0007-burst.npz'."""
        file, content_hash = save_capture(self.folder, capture)
        about = {"signals": list(capture.traces), "samples": capture.samples, "taken_s": capture.taken_s}
        set_to = {"conditions": asdict(capture.conditions), "load_c": capture.load_c}
        self.event(CAPTURE, file=file, **about, **set_to, sha256=content_hash)
        return file

    def keep(self, capture: Capture) -> Capture:
        """Store a capture; returns it with its file as its name, as an analysis should take it."""
        return replace(capture, name=self.capture(capture))

    def figures(
        self,
        step: str,
        analysis: str,
        *,
        captures: Mapping[str, str],
        readings: Mapping[str, Sequence[float]],
        context: Any,
        conditions: Conditions,
        figures: Sequence[Figure],
        captured: Mapping[str, Conditions] | None = None,
        comparisons: Sequence[Comparison] | None = None,
        name: str = "",
        criteria: Mapping[str, Criterion] | None = None,
    ) -> None:
        """Journal the figures of one analysis with all that recomputes them.

        Args:
            step: the step's name in the sequence.
            analysis: its name in `measure.analyses.ANALYSES`.
            captures: role -> file, as `capture` returned it.
            readings: name -> values in base units, as given to the analysis.
            context: the dataclass given to the analysis.
            conditions: what the bench was set to.
            figures: what came out, with their verdicts; each names captures by file.
            captured: file -> the conditions of that record.
            comparisons: what of it two instruments have seen; None where that was not looked for.
            name: what the sequence calls the step.
            criteria: what the figures were held against, by figure.
        """
        _check_capture_names(figures, captures)
        entry = FiguresEntry(
            step=step,
            analysis=analysis,
            captures=dict(captures),
            readings=readings_as_json(readings),
            context=context_as_json(context),
            conditions=conditions,
            captured=dict(captured or {}),
            figures=[as_stored(figure) for figure in figures],
            comparisons=comparisons,
            name=name,
            criteria=None if criteria is None else {figure: each.model_dump() for figure, each in criteria.items()},
            method=METHOD,
        )
        # What the journal has is what the table gets, the time included.
        self._parts[-1].append(FiguresEntry.of_event(self._journal.append(FIGURES, **entry.fields())))

    def give_up(self, step: str, no_results: Collection[int], **fields: Any) -> None:
        """Journal that a step is given up, to start again; what it had found is no result.

        Args:
            step: its name in the sequence.
            no_results: the numbers of the events that tell what it had found.
            fields: what else is told of it.
        """
        self.event(STEP_GIVEN_UP, step=step, no_results=sorted(no_results), **fields)
        self._parts = [[entry for entry in part if entry.number not in no_results] for part in self._parts]

    def trend(self, time_s: float, readings: Mapping[str, float | None]) -> None:
        """Add a sample to the trend; see `Trend.append`."""
        self._trend.append(time_s, readings)

    def finish_trend(self) -> str:
        """Give trend.csv its final name; no sample can be added any more. Returns the SHA-256 of the file."""
        self._trend.finish()
        return sha256(read_bytes(self.folder.trend)).hexdigest()

    def finish(self) -> None:
        """Write figures.csv and trend.csv under their final names and close the journal. Idempotent."""
        with ExitStack() as stack:  # each is let go of, whatever became of the others
            stack.callback(self._journal.close)
            stack.callback(self._trend.finish)
            write_figures(self.folder, self.measured, self.identity)


def _check_capture_names(figures: Sequence[Figure], captures: Mapping[str, str]) -> None:
    """A figure that names a capture by anything but its file could be traced to nothing."""
    files = set(captures.values())
    for figure in figures:
        if unknown := set(figure.capture.split()) - files:
            raise ValueError(
                f"{figure.name} names the capture {', '.join(sorted(unknown))}, not a file of its analysis"
            )
