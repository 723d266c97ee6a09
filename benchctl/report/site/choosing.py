"""Which runs of a folder are published: measurements that have ended, each once; simulated ones only where asked."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from benchctl.archive.collection.folders import found_below
from benchctl.archive.folder import RunFolder
from benchctl.archive.folder_lock import is_being_written
from benchctl.archive.journal.events import RUN_STARTED
from benchctl.archive.journal.journal import read_as_far_as_whole
from benchctl.archive.journal.simulation import simulation_of
from benchctl.errors import ArchiveError, UsageError
from benchctl.report.reading.run_record import read_run_record
from benchctl.report.site.card import RunCard, card_of
from benchctl.report.site.sources import Known, Memory, content_of, listing_of

Tell = Callable[[str, int, int], None]
"""What is being done, the number of this one, and of how many."""


@dataclass(frozen=True)
class Source:
    """A run that is published: its folder, the hash of what that holds, and what the site says of it in short."""

    folder: Path
    content: str
    card: RunCard


@dataclass
class Chosen:
    """`sources`: place below the folder of runs -> the run there. `simulated`: how many runs were left out because they
    are no measurements, or perhaps none. `left_out`: other folders that are not in the site, each with the reason."""

    sources: dict[str, Source] = field(default_factory=dict)
    simulated: int = 0
    left_out: list[str] = field(default_factory=list)


def chosen_in(runs: Path, tell: Tell, *, with_simulated: bool) -> tuple[Chosen, str]:
    """The runs to publish, and why what was read of them could not be remembered for the next time, if it could not.

    Raises:
        UsageError: there is no folder `runs`.
    """
    found, others = found_below(runs)
    reading = _Reading(runs, Memory(runs), with_simulated=with_simulated)
    for number, each in enumerate(found, start=1):
        tell("reading runs", number, len(found))
        reading.take(each.path)
    reading.chosen.left_out += [str(other) for other in others]
    return reading.chosen, reading.memory.save()


@dataclass
class _Reading:
    runs: Path
    memory: Memory
    with_simulated: bool
    chosen: Chosen = field(default_factory=Chosen)
    contents: dict[str, str] = field(default_factory=dict)

    def take(self, folder: Path) -> None:
        """Read one run, unless it is known, and choose it or leave it out."""
        place = folder.relative_to(self.runs).as_posix()
        try:
            if is_being_written(RunFolder.open(folder)):
                self.chosen.left_out.append(f"{folder}: the run still goes on; publish again when it has ended")
                return
            known = self._known(folder, place)
        except (ArchiveError, UsageError) as error:
            self.chosen.left_out.append(f"{folder}: {error.message}")
            return
        self.memory.keep(place, known)
        if known.card is None or (known.card.mark and not self.with_simulated):
            self.chosen.simulated += 1
        elif twin := self.contents.get(known.content):
            self.chosen.left_out.append(f"{folder}: it is a copy of {self.runs / twin}")
        else:
            self.contents[known.content] = place
            self.chosen.sources[place] = Source(folder, known.content, known.card)

    def _known(self, folder: Path, place: str) -> Known:
        listing = listing_of(folder)
        known = self.memory.of(place, listing)
        if known is not None and (known.card is not None or not self.with_simulated):
            return known
        journal, trouble = read_as_far_as_whole(RunFolder.open(folder).journal)
        if not any(event["event"] == RUN_STARTED for event in journal.events):
            raise ArchiveError(f"its journal tells of no run that began{f': {trouble}' if trouble else ''}")
        if not self.with_simulated and simulation_of(journal.events).is_simulated is not False:
            return Known(listing)
        return Known(listing, content_of(folder), card_of(read_run_record(folder)))
