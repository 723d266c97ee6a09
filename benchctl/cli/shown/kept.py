"""What a run that ended early leaves: how much of it is kept, and the command that goes on with it."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.journal import read_journal
from benchctl.errors import BenchctlError, RequirementFailed
from benchctl.runner.engine.progress import progress_of
from benchctl.runner.plan import PlannedStep


@dataclass(frozen=True)
class Kept:
    """How far a run has come, by its folder; `trouble` is why the folder does not tell."""

    folder: Path
    figures: int = 0
    finished: int = 0
    steps: int = 0
    next_step: str = ""
    trouble: str = ""

    @classmethod
    def of(cls, folder: Path, plan: Sequence[PlannedStep]) -> Kept:
        """Of a run of this plan in that folder."""
        try:
            progress = progress_of(plan, read_journal(RunFolder.open(folder).journal).events)
        except BenchctlError as error:
            return cls(folder, trouble=str(error))
        left = plan[progress.next_index :]
        next_step = left[0].label if left else ""
        return cls(folder, len(progress.measured), progress.next_index, len(plan), next_step)

    def lines(self, error: BenchctlError) -> list[str]:
        """What is kept, and how to go on after that error, if that is possible."""
        if self.trouble:
            return [f"What is kept cannot be read: {self.trouble}"]
        kept = f"Kept: {self.figures} figures; {self.finished} of {self.steps} steps are finished."
        return [kept, *self._command(error)]

    def _command(self, error: BenchctlError) -> list[str]:
        """A sequence that has asked for its end would ask for it again."""
        if isinstance(error, RequirementFailed):
            return []
        place = f"step {self.finished + 1} of {self.steps}, {self.next_step}" if self.next_step else "the last entries"
        return [f"To go on with {place}: benchctl resume {shlex.quote(str(self.folder))}"]
