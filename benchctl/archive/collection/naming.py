"""A run that is named by a word: `latest`, or the serial number of a unit, whose newest run is meant, or its newest one
before another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from benchctl.archive.collection.filters import Filters
from benchctl.archive.collection.folders import NotRead
from benchctl.archive.collection.indexed.index import Collection, collection_of
from benchctl.archive.collection.summary import RunSummary, summary_of
from benchctl.archive.folder import made_at
from benchctl.documents.text.words import nearest
from benchctl.errors import UsageError, quote

LATEST = "latest"
_MOST_NAMED = 8


@dataclass(frozen=True)
class Named:
    """The run that a word means. `newer`: folders that cannot be read, and by their names are newer than it."""

    run: RunSummary
    newer: tuple[NotRead, ...] = ()


def run_named(word: str, root: Path) -> Named:
    """The run that `word` means among those below `root`: the newest of all, or of the unit with this serial number.

    Raises:
        UsageError: it means none, or the newest run of more than one unit; the message says what there is.
    """
    runs = collection_of(root)
    kept = Filters().keep(runs.runs)
    if word == LATEST:
        return newest(kept, runs)
    kept = [run for run in kept if run.serial and run.serial.lower() == word.lower()]
    if not kept:
        raise UsageError(_no_such(word, runs), advice="See what there is: benchctl list.")
    if len(amplifiers := sorted({run.amplifier for run in kept})) > 1:
        raise UsageError(
            f"{quote(word)} is the serial number of more than one unit: {', '.join(amplifiers)}; name the run folder",
            advice=f"See their runs: benchctl list --serial {word}.",
        )
    return newest(kept, runs)


def run_before(word: str, path: Path, root: Path) -> Named:
    """The earlier run of the same unit that `word` means: the newest below `root` that began before the run at `path`,
    by the same sequence, and simulated or not as that one is. `word`: `latest`, or the unit's serial number.

    Raises:
        UsageError: there is none, or the run does not tell which unit it is of.
        ArchiveError: the run at `path` cannot be read.
    """
    run, among = summary_of(path), collection_of(root)
    serial = run.serial if word == LATEST else word
    if not serial:
        raise UsageError(
            f"{run.name} has no serial number, so nothing tells which other runs are of the same unit",
            advice="Name the folder of the earlier run.",
        )
    if run.serial and run.serial.lower() != serial.lower():
        raise UsageError(
            f"{quote(word)} is neither a run folder, nor '{LATEST}', nor the serial number of {run.name}, which is "
            f"{run.serial}",
            advice=f"See the runs of this unit: benchctl list --serial {run.serial}.",
        )
    earlier = [each for each in Filters().keep(among.runs) if _is_of_unit(each, run, serial) and _is_earlier(each, run)]
    alike = [each for each in earlier if each.sequence == run.sequence]
    if not alike:
        others = ", ".join(sorted({each.sequence for each in earlier}))
        raise UsageError(
            f"no run by '{run.sequence}' of serial {serial} in {among.root} is earlier than {run.name}"
            + (f"; earlier ones are by other sequences: {others}" if others else ""),
            advice=f"See the runs of this unit: benchctl list --serial {serial}.",
        )
    return newest(alike, among)


def _is_of_unit(other: RunSummary, run: RunSummary, serial: str) -> bool:
    return (
        other.serial.lower() == serial.lower()
        and other.amplifier == run.amplifier
        and other.is_simulated == run.is_simulated
    )


def _is_earlier(other: RunSummary, run: RunSummary) -> bool:
    return other.began is not None and run.began is not None and other.began < run.began


def newest(kept: Sequence[RunSummary], among: Collection) -> Named:
    """The newest of some runs, which are in order.

    Raises:
        UsageError: there is none.
    """
    if not kept:
        raise UsageError(f"there is no such run in {among.root}", advice="See what there is: benchctl list.")
    run = kept[-1]
    later = [
        other
        for other in among.not_read
        if run.began is not None and (made := made_at(other.path.name)) is not None and made > run.began
    ]
    return Named(run, tuple(later))


def _no_such(word: str, among: Collection) -> str:
    serials = sorted({run.serial for run in among.runs if run.serial})
    told = f"{quote(word)} is neither a run folder, nor '{LATEST}', nor the serial number of a unit in {among.root}"
    if near := nearest(word, serials):
        return f"{told}; did you mean {near}?"
    if not serials:
        return f"{told}; no run there has a serial number"
    more = f" and {len(serials) - _MOST_NAMED} more" if len(serials) > _MOST_NAMED else ""
    return f"{told}; there are {', '.join(serials[:_MOST_NAMED])}{more}"
