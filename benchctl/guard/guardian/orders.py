"""What passes between a run and its guardian: orders first, then one word a line, both ways."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, field
from enum import StrEnum

from benchctl.instruments.links.settings import LinkSettings
from benchctl.instruments.safe_part import SafePart

# A run sends a beat this often.
BEAT_S = 0.25
# Six beats. With three more runs on two cores and eight busy loops beside them, the longest gap between two beats of a
# run was 0.57 s. Much shorter, and a busy machine's run is taken for dead; longer, and a frozen one leaves 100 A on for
# longer. Death is known at once and needs no patience.
PATIENCE_S = 1.5
# The pipe is read in pieces of this size; orders are some thousand bytes, words a few.
_PIECE_BYTES = 65536


class Word(StrEnum):
    """A line of the conversation after the orders."""

    READY = "ready"  # guardian to run: it watches from now on
    BEAT = "beat"  # run to guardian: it lives; guardian to run: heard
    CALL = "call"  # run to guardian: the bench is not known to be safe, act
    DONE = "done"  # run to guardian: the bench is safe, leave
    ACTING = "acting"  # guardian to run: it makes the bench safe


@dataclass(frozen=True)
class Orders:
    """All that a guardian knows.

    Attributes:
        plan: the parts of the safe state.
        patience_s: after so long without a beat the run counts as hung.
        report: the file in the run folder to which it adds lines when it acts.
        run_pid: the run's process, in case it hangs and keeps an instrument's only link.
        turn: the file by which two guardians agree which of them acts.
        locks: the files that keep other runs away from these instruments.
        links: by the instrument's name, how its link behaves; the usual way if nothing is given.
    """

    plan: tuple[SafePart, ...]
    report: str
    run_pid: int
    turn: str
    locks: tuple[str, ...] = ()
    patience_s: float = PATIENCE_S
    links: Mapping[str, LinkSettings] = field(default_factory=dict)

    def to_line(self) -> str:
        """One line of JSON, without its end."""
        return json.dumps(asdict(self))

    @classmethod
    def from_line(cls, line: str) -> Orders:
        """What `to_line` wrote."""
        data = json.loads(line)
        plan = [SafePart.from_data(part) for part in data["plan"]]
        links = {name: LinkSettings.from_data(link) for name, link in data["links"].items()}
        return cls(**{**data, "plan": tuple(plan), "locks": tuple(data["locks"]), "links": links})


def lines_of(descriptor: int) -> Iterator[str]:
    """The lines that come through a pipe, until its other end is closed. An incomplete last line does not count.

    It reads without the interpreter's buffer: a thread that waits here would keep that buffer's lock at exit.
    """
    rest = b""
    while piece := os.read(descriptor, _PIECE_BYTES):
        *whole, rest = (rest + piece).split(b"\n")
        for line in whole:
            yield line.decode("utf-8")
