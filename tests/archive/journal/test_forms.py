"""What is read of a journal is what a run writes, or an error that names file and line."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from benchctl.archive.journal.journal import parse_journal
from benchctl.errors import ArchiveError
from tests.journals import write_events

PATH = Path("runs/x/journal.jsonl")
STARTED = {"event": "run started", "dry_run": True, "settings": {}, "instruments": {}}
FINISHED = {"event": "step finished", "step": "1 set", "index": 0}


def parse(tmp_path: Path, *events: dict[str, Any]) -> None:
    journal = tmp_path / "journal.jsonl"
    own = {"time_s": 0.0, "wall": "2026-01-01T08:00:00.000+00:00"}
    write_events(journal, [{"number": number} | own | event for number, event in enumerate(events, start=1)])
    parse_journal(journal.read_bytes(), PATH)


@pytest.mark.parametrize(
    ("event", "what"),
    [
        ({"event": "note", "time_s": 1e300}, "its time_s is not a time of a run"),
        ({"event": "note", "time_s": -1.0}, "its time_s is not a time of a run"),
        ({"event": "note", "time_s": "0"}, "its time_s is not a time of a run"),
        ({"event": "note", "time_s": True}, "its time_s is not a time of a run"),
        ({"event": "note", "number": True}, "its number is not a whole number"),
        ({"event": "note", "number": 2.0}, "its number is not a whole number"),
        ({"event": 7}, "its wall or its event is not text"),
        ({"event": "step started", "step": "1 set"}, "index: Field required"),
        ({"event": "step started", "step": "1 set", "index": "0"}, "index: Input should be a valid integer"),
        ({"event": "step finished", "step": "1 set", "index": 10**30}, "index: Input should be"),
        ({"event": "step given up", "step": "1 set", "index": 0, "no_results": 3}, "no_results: Input should be"),
        ({"event": "run started", "dry_run": "no", "settings": {}, "instruments": {}}, "dry_run: Input should be"),
        ({"event": "run ended", "reason": "finished", "exit_code": None, "safe": True}, "exit_code: Input should be"),
        ({"event": "guardian acted", "line": 0}, "line: Input should be"),
        ({"event": "capture", "file": "captures/a\0.npz"}, "file: String should match"),
        ({"event": "capture", "file": "/etc/passwd"}, "file: String should match"),
        ({"event": "capture", "file": "captures/../../x.npz"}, "file: String should match"),
        (FINISHED | {"conditions": {"drive": "loud"}}, "conditions.drive: Input should be"),
        (FINISHED | {"conditions": {"load_ohm": "four"}}, "conditions.load_ohm: Input should be a valid number"),
        (FINISHED | {"conditions": 4}, "conditions: Input should be a valid dictionary"),
        ({"event": "inputs kept", "texts": ["a"]}, "texts: Input should be"),
    ],
)
def test_an_event_that_no_run_writes_is_an_error_that_names_file_line_and_field(
    tmp_path: Path, event: dict[str, Any], what: str
) -> None:
    with pytest.raises(ArchiveError, match=r"^runs/x/journal\.jsonl:2: no run writes such an event: ") as caught:
        parse(tmp_path, STARTED, event)
    assert what in caught.value.message
    assert caught.value.advice.startswith("Put the file back")


def test_fields_that_nobody_reads_are_free_and_so_are_kinds_of_another_version(tmp_path: Path) -> None:
    parse(tmp_path, STARTED | {"mood": "good"}, {"event": "something new", "index": "x"})


@pytest.mark.parametrize("value", ["1e999", "NaN", "-Infinity", r'"\ud800"'])
def test_what_no_file_can_hold_again_makes_a_line_no_event(value: str) -> None:
    """Numbers that are not finite, and half a character."""
    line = json.dumps({"number": 1, "time_s": 0, "wall": "", "event": "x", "value": 7}).replace("7", value)
    assert parse_journal(line.encode(), PATH).events == ()
