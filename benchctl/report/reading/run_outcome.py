"""How a run ended, in words, and whether the bench was known to be safe then."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from benchctl.archive.files import read_bytes
from benchctl.archive.journal.ending import FINISHED, Ending, ending_of, who_ended_it
from benchctl.archive.journal.events import NEW_PARTS, RUN_ENDED, RUN_RESUMED, RUN_STARTED, SUPPLY_TRIPPED, TRIP
from benchctl.errors import ArchiveError, BenchctlError, LimitTripped, OperatorStop, RequirementFailed
from benchctl.guard.limits import ProtectionLimit
from benchctl.report.reading.earlier_parts import EarlierPart, earlier_parts
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.reading.unconfirmed import Unconfirmed, unconfirmed_in

# What README says of the exit codes, for one run.
_CODES = {
    0: "finished, and every verdict passes",
    1: "finished, and a verdict fails or is inconclusive, or instruments contradict each other; "
    "or a requirement ended it",
    4: "a limit tripped",
    5: "an instrument failed",
    6: "the operator stopped it",
}
_BEGINNINGS: Mapping[type[BenchctlError], str] = {
    LimitTripped: "Stopped by a limit: ",
    OperatorStop: "Ended: ",
    RequirementFailed: "Ended: ",
}


@dataclass(frozen=True)
class RunOutcome:
    """`words`: in a sentence or two. `exit_code` is None, and nothing is confirmed, where the journal does not say an
    end. `earlier` are the parts before the last that are not known to have left the bench safe."""

    words: str
    exit_code: int | None
    ending: Ending
    unconfirmed: tuple[Unconfirmed, ...] = ()
    guardian: str = ""
    earlier: tuple[EarlierPart, ...] = ()

    @property
    def is_finished(self) -> bool:
        """Whether it came to the end of its sequence."""
        return self.ending == "finished"

    @property
    def is_safe(self) -> bool:
        """Whether every instrument confirmed the safe state at the end of each part of the run."""
        return self.is_told and not self.unconfirmed and not self.earlier

    @property
    def code_in_words(self) -> str:
        """What the exit code means."""
        if self.exit_code is None:
            return "none: the run did not come to its own end"
        return f"{self.exit_code}: {_CODES.get(self.exit_code, 'unknown')}"

    @property
    def is_told(self) -> bool:
        """Whether the journal tells an end."""
        return self.exit_code is not None


def run_outcome_of(run_record: RunRecord) -> RunOutcome:
    """How the last part of the run ended, and how the earlier ones left the bench."""
    guardian = _guardian(run_record)
    parts = [part for part in earlier_parts(run_record.events) if part.is_told or not run_record.is_dry]
    earlier = tuple(part for part in parts if not part.is_safe)
    last = next((e for e in reversed(run_record.events) if e["event"] in (RUN_STARTED, RUN_RESUMED, RUN_ENDED)), None)
    if last is None or last["event"] != RUN_ENDED:
        words = "The journal does not say how the run ended: it was killed."
        ending: Ending = "running" if run_record.is_running else "killed"
        words = "The run still goes on." if run_record.is_running else words
        return RunOutcome(words, None, ending, guardian=guardian, earlier=earlier)
    return RunOutcome(
        words=_words(run_record, last),
        exit_code=int(last.get("exit_code", 5)),
        ending=ending_of(last, _trips(run_record)),
        unconfirmed=unconfirmed_in(last),
        guardian=guardian,
        earlier=earlier,
    )


def _trips(run_record: RunRecord) -> list[object]:
    return [trip.get("reason") for trip in run_record.of_kind(TRIP)]


def _words(run_record: RunRecord, ended: Mapping[str, Any]) -> str:
    reason = str(ended.get("reason", "for a reason that the journal does not say"))
    if reason == FINISHED:
        return "Finished."
    beginning = _BEGINNINGS.get(who_ended_it(ended, _trips(run_record)), "Failed: ")
    tripped = "" if ProtectionLimit.sentence in reason else _tripped(run_record)
    return f"{beginning}{reason}.{tripped}"


def _tripped(run_record: RunRecord) -> str:
    """That the supply has switched outputs off by itself, in the last part of the run."""
    of_part = [event for event in run_record.events if event["event"] in (SUPPLY_TRIPPED, *NEW_PARTS)]
    if not of_part or of_part[-1]["event"] != SUPPLY_TRIPPED:
        return ""
    names = " and ".join(f"'{name}'" for name in of_part[-1].get("outputs", ()))
    return f" The supply's own protection (over-voltage or over-current) has switched its output {names} off."


def _guardian(run_record: RunRecord) -> str:
    """What the guardian did, where it had to do something: its last word."""
    try:
        lines = read_bytes(run_record.folder.guardian).decode("utf-8", errors="replace").splitlines()
    except ArchiveError:
        return ""
    for line in reversed(lines):
        try:
            said = json.loads(line)
        except (ValueError, RecursionError):  # a line that a crash cut off, or that no guardian wrote
            continue
        match said:
            case {"event": "safe"}:
                return "The guardian made the bench safe, and every instrument confirmed it."
            case {"event": "unsafe"}:
                return f"The guardian could not make the bench safe: {'; '.join(map(str, unconfirmed_in(said)))}."
    return ""
