"""What is said of a run in a line. Nothing of it can move a terminal's cursor, whatever a file holds."""

from __future__ import annotations

from collections.abc import Mapping

from benchctl.archive.collection.summary import RunSummary
from benchctl.archive.journal.ending import Ending
from benchctl.readable import printable

_LONGEST_REASON = 48
_LONGEST_TITLE = 60
_ENDINGS: Mapping[Ending, str] = {
    "finished": "finished",
    "limit": "stopped by a limit",
    "operator": "stopped by the operator",
    "requirement": "ended by a requirement",
    "failure": "failed",
    "killed": "cut off",
    "running": "still running",
}


def ended_in_words(run: RunSummary) -> str:
    """How it ended, with the reason where there is one."""
    reason = printable(run.reason, longest=_LONGEST_REASON)
    return f"{_ENDINGS[run.ending]}: {reason}" if reason else _ENDINGS[run.ending]


def kind_of(run: RunSummary) -> str:
    """`simulated` or `replayed`; empty of a measurement. Nothing else may be taken for one."""
    if run.is_simulated is None:
        return "simulated or not: not on record"
    return run.simulation.word.lower()


def run_in_words(run: RunSummary) -> str:
    """A run in one line, to say which one is meant."""
    serial = f", serial {shown(run.serial)}" if run.serial else ""
    wrong = "something is wrong with the folder" if run.problems else ""
    told = [f"{shown(run.amplifier)}{serial}", shown(run.sequence), kind_of(run), ended_in_words(run), wrong]
    return f"{run.folder} ({'; '.join(filter(None, told))})"


def shown(title: str) -> str:
    """A title or a serial number on a line."""
    return printable(title, longest=_LONGEST_TITLE)
