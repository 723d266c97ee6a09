"""Figures computed again from what a run folder holds: the captures of a figures event, and its analysis."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field

from benchctl.archive.captures import load_capture
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import FiguresEntry, context_of
from benchctl.errors import ArchiveError, MeasurementError
from benchctl.measure.analyses.by_step import ANALYSES
from benchctl.measure.budget.figure import Figure
from benchctl.measure.signal.record import Capture

# What an analysis may raise when somebody has changed a journal or a capture.
NOT_COMPUTED = (MeasurementError, ArchiveError, ValueError, TypeError, LookupError, ArithmeticError)


@dataclass
class Captures:
    """The captures of one figures event by role, and the files that are missing or broken, with the reason."""

    by_role: dict[str, Capture] = field(default_factory=dict)
    missing: dict[str, str] = field(default_factory=dict)
    broken: dict[str, str] = field(default_factory=dict)

    @classmethod
    def load(cls, folder: RunFolder, entry: FiguresEntry) -> Captures:
        captures = cls()
        for role, file in entry.captures.items():
            try:
                path = folder.inside(file)
                if os.path.lexists(path):
                    captures.by_role[role] = load_capture(path)
                else:
                    captures.missing[file] = f"{file} is not there"
            except ArchiveError as error:
                captures.broken[file] = error.message
        return captures


def compute(entry: FiguresEntry, captures: Mapping[str, Capture]) -> list[Figure]:
    """The figures of an event, by the analysis of this version."""
    context = context_of(entry)
    return ANALYSES[entry.analysis].figures(captures, entry.named_readings(), context)
