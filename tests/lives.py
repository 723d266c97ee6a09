"""Months of a bench or of a unit made of one run: copies of its folder, each with another date and with values changed
in its journal."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Sequence
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

from tests.journals import read_events, write_events

Event = dict[str, Any]
Changed = Callable[[list[Event], int], None]

# Real instruments, as far as a journal tells; of no real maker.
IDENTITY = "Harbour Instruments,{role},H-{number},2.1"


def months_of(
    run: Path,
    out: Path,
    days: Sequence[datetime],
    change: Changed = lambda _events, _number: None,
    unit: str = "",
) -> None:
    """A copy of the run for each day, below `out`; `change` is given its events and its number. `unit`: lines for its
    amplifier file, as if it had had them when it was made."""
    for number, day in enumerate(days):
        folder = out / f"{day:%Y%m%d-%H%M%S}-{run.name.split('-', 2)[2]}"
        shutil.copytree(run / "captures", folder / "captures", copy_function=os.link)  # which nobody changes
        shutil.copytree(run / "inputs", folder / "inputs")
        for name in ("figures.csv", "trend.csv"):
            shutil.copyfile(run / name, folder / name)
        events = read_events(run / "journal.jsonl")
        if unit:
            _with_unit(folder, events, unit)
        change(events, number)
        write_events(folder / "journal.jsonl", events)


def as_real(events: list[Event]) -> None:
    """The journal of real instruments, so that the run counts as a measurement."""
    began = next(event for event in events if event["event"] == "run started")
    began |= {"dry_run": False, "simulated": []}
    began["instruments"] = {
        role: IDENTITY.format(role=role, number=number) for number, role in enumerate(began["instruments"], start=1)
    }


def with_clamp(events: list[Event], factor: float) -> None:
    """What the clamp shows in every comparison, times a factor."""
    for event in events:
        for comparison in event.get("comparisons") or ():
            if comparison["second"]["who"] == "the clamp shows":
                comparison["second"]["value"] *= factor


def _with_unit(folder: Path, events: list[Event], lines: str) -> None:
    file = folder / "inputs" / "amplifier.yaml"
    text = f"{file.read_text('utf-8')}\n{lines}"
    file.write_text(text, encoding="utf-8")
    for event in events:
        if "amplifier.yaml" in event.get("texts", {}):
            event["texts"]["amplifier.yaml"] = text
        if "amplifier.yaml" in event.get("inputs", {}):
            event["inputs"]["amplifier.yaml"] = sha256(text.encode("utf-8")).hexdigest()
    events[0]["serial"] = next(line.split("'")[1] for line in lines.splitlines() if line.startswith("serial:"))


def note_after(events: list[Event], wall: str, text: str, photos: int = 0) -> None:
    """A note that a person added after the run, with photographs that are gone."""
    kept = [{"file": f"photos/{number:04d}.jpg", "sha256": "0" * 64} for number in range(1, photos + 1)]
    last = events[-1]
    told = {"number": last["number"] + 1, "time_s": last["time_s"], "wall": wall, "event": "note"}
    events.append(told | {"text": text, "written_by": "person", "photos": kept})
