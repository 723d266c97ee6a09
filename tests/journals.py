"""Journals written anew, each line with the hashes that a run would give it: what a person changed with care."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from benchctl.archive.journal.chain import FIELDS, sealed


def write_events(journal: Path, events: Iterable[Mapping[str, Any]]) -> None:
    """A journal of these events; hashes that they carry are dropped."""
    lines, before = [], ""
    for event in events:
        body = {name: value for name, value in event.items() if name not in FIELDS}
        line, before = sealed(json.dumps(body).encode("utf-8"), before)
        lines.append(line + b"\n")
    journal.write_bytes(b"".join(lines))


def read_events(journal: Path) -> list[dict[str, Any]]:
    """The events of a journal, to change and write again."""
    return [json.loads(line) for line in journal.read_text("utf-8").splitlines()]
