"""Copies of dry runs that read like measurements: of real instruments, and of an amplifier with a serial number."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Mapping
from hashlib import sha256
from pathlib import Path
from typing import Any

from tests.journals import read_events, write_events

Event = dict[str, Any]
Edit = Callable[[list[Event]], list[Event]]


def measured(
    original: Path,
    runs: Path,
    stamp: str,
    *,
    title: str = "HX 2150",
    serial: str = "17",
    more: str = "",
    edit: Edit = lambda events: events,
) -> Path:
    """A copy in the folder `runs`, as if taken at `stamp` of the amplifier of this title and serial number.

    `more`: further lines of the amplifier file. `edit`: changes the journal's events. The journal keeps what the files
    hold, so nothing looks changed after the run.
    """
    folder = runs / f"{stamp}-{original.name[16:]}"
    shutil.copytree(original, folder, ignore=shutil.ignore_patterns("*.html"))
    amplifier = folder / "inputs" / "amplifier.yaml"
    text = _named(amplifier.read_text("utf-8"), title, serial, more)
    amplifier.write_text(text, encoding="utf-8")
    events = [_real(event, title, serial, text) for event in read_events(folder / "journal.jsonl")]
    numbered = enumerate(edit(events), start=1)
    write_events(folder / "journal.jsonl", (event | {"number": number} for number, event in numbered))
    return folder


def _named(text: str, title: str, serial: str, more: str) -> str:
    lines = [f"title: {_quoted(title)}", *([f"serial: {_quoted(serial)}"] if serial else []), more]
    return re.sub(r"(?m)^title: .*$", lambda _: "\n".join(filter(None, lines)), text, count=1)


def _quoted(text: str) -> str:
    doubled = text.replace("'", "''")
    return f"'{doubled}'"


def _real(event: Event, title: str, serial: str, amplifier: str) -> Event:
    if event["event"] == "run started":
        instruments = {role: f"FAIRLEAD,{role.upper()},17,1.0" for role in event["instruments"]}
        inputs: Mapping[str, str] = event["inputs"] | {"amplifier.yaml": sha256(amplifier.encode("utf-8")).hexdigest()}
        told = {"dry_run": False, "simulated": [], "amplifier": title, "serial": serial}
        return event | told | {"instruments": instruments, "inputs": inputs}
    if event["event"] == "inputs kept":
        return event | {"texts": event["texts"] | {"amplifier.yaml": amplifier}}
    return event


def cut_off(after_figures: int) -> Edit:
    """As a kill leaves it, behind so many analyses."""

    def edit(events: list[Event]) -> list[Event]:
        places = [place for place, event in enumerate(events) if event["event"] == "figures"]
        return events[: places[after_figures - 1] + 1]

    return edit


def tripped(after_figures: int) -> Edit:
    """As a limit ends it, behind so many analyses."""

    def edit(events: list[Event]) -> list[Event]:
        kept = cut_off(after_figures)(events)
        at = {"time_s": kept[-1]["time_s"], "wall": kept[-1]["wall"]}
        reason = "supply_current was 96.2 A, above 95 A"
        trip = at | {"event": "trip", "limit": "supply_current", "value": 96.2, "unit": "A", "reason": reason}
        confirmed = {"instrument": "supply", "part": "output off", "confirmed": True, "detail": ""}
        end = {"event": "run ended", "reason": reason, "exit_code": 4, "safe": True, "instruments": [confirmed]}
        return [*kept, trip, at | end]

    return edit


def with_figures(change: Callable[[dict[str, Any]], dict[str, Any]]) -> Edit:
    """With each figure changed."""

    def edit(events: list[Event]) -> list[Event]:
        return [
            event | {"figures": [figure | change(figure) for figure in event["figures"]]}
            if event["event"] == "figures"
            else event
            for event in events
        ]

    return edit
