"""Which runs are asked for: by amplifier, serial, date, sequence, verdict, and whether they were simulated."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from fnmatch import fnmatchcase
from functools import cache
from pathlib import Path

from benchctl import library
from benchctl.archive.collection.document_facts import fact, text_of
from benchctl.archive.collection.overall import OverallVerdict
from benchctl.archive.collection.summary import RunSummary
from benchctl.archive.folder import slug
from benchctl.errors import UsageError


@dataclass(frozen=True)
class Filters:
    """What a run must be; what is empty or None asks for nothing.

    Attributes:
        amplifier, sequence: a part of the title, however it is written, or the file or shipped name of the document.
        serial: the whole serial number, in capitals or not; * stands for any characters.
        from_, to: the run began at or after, and before.
        verdict: on the whole run.
        is_simulated: whether any instrument was simulated or replayed.
    """

    amplifier: str = ""
    serial: str = ""
    from_: datetime | None = None
    to: datetime | None = None
    sequence: str = ""
    verdict: OverallVerdict | None = None
    is_simulated: bool | None = None

    def keep(self, runs: Iterable[RunSummary]) -> list[RunSummary]:
        """The runs that are asked for, oldest first; those without a date come before all others."""
        kept = [run for run in runs if self._wants(run)]
        return sorted(kept, key=lambda run: (run.began is not None, run.began, run.name) if run.began else (False,))

    def _wants(self, run: RunSummary) -> bool:
        return (
            self.verdict in (None, run.verdict)
            and self.is_simulated in (None, run.is_simulated)
            and fnmatchcase(run.serial.lower(), self.serial.lower() or "*")
            and _is_called(run.amplifier, self.amplifier, "amplifiers")
            and _is_called(run.sequence, self.sequence, "sequences")
            and self._is_in_time(run.began)
        )

    def _is_in_time(self, began: datetime | None) -> bool:
        if began is None:
            return self.from_ is None and self.to is None
        return (self.from_ is None or began >= self.from_) and (self.to is None or began < self.to)


def _is_called(title: str, wanted: str, shelf: library.Shelf) -> bool:
    return not wanted or _bare(wanted) in _bare(title) or title == _title_of(wanted, shelf)


@cache
def _bare(text: str) -> str:
    """`HX 2150`, `hx-2150` and `hx2150` are one name."""
    return slug(text).replace("-", "")


@cache
def _title_of(reference: str, shelf: library.Shelf) -> str:
    """The title of a document that is given by its file or shipped name; '' if it is none."""
    try:
        file: Path = library.find(shelf, reference)
    except UsageError:
        return ""
    return fact(text_of(file), "title")
