"""What is not as the run left it is named; what nobody can tell is called so."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from benchctl.archive.evidence.findings import Findings, findings_of
from benchctl.archive.evidence.inputs import keep_inputs
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.events import GUARDIAN_ACTED, RUN_ENDED, RUN_STARTED
from benchctl.archive.journal.guardian_lines import lines_not_told
from benchctl.archive.journal.journal import read_journal
from benchctl.archive.recorder import Recorder
from benchctl.clock import VirtualClock
from benchctl.guard.guardian.report import Report
from benchctl.measure.signal.record import Capture


def begin(recorder: Recorder) -> None:
    hashes = keep_inputs(recorder.folder, {"bench.yaml": "a\n"})
    recorder.event(RUN_STARTED, dry_run=True, settings={}, instruments={}, inputs=hashes)


@pytest.fixture
def ended(folder: RunFolder, clock: VirtualClock, tone: Capture) -> RunFolder:
    """A run with two captures, a trend and a guardian that acted, brought to its end."""
    recorder = Recorder(folder, clock)
    begin(recorder)
    recorder.capture(tone)
    recorder.capture(replace(tone, taken_s=13.5))
    recorder.trend(0.2, {"supply_current": 1.0})
    Report(folder.guardian).acting("the run has died")
    Report(folder.guardian).acted([], then="")
    for fields in lines_not_told(folder, ()):
        recorder.event(GUARDIAN_ACTED, **fields)
    recorder.event(RUN_ENDED, reason="finished", exit_code=0, safe=True, trend_sha256=recorder.finish_trend())
    recorder.finish()
    return folder


def found(folder: RunFolder) -> Findings:
    return findings_of(folder, read_journal(folder.journal))


def test_a_folder_as_the_run_left_it_has_nothing_to_tell(ended: RunFolder) -> None:
    assert found(ended) == Findings()


def _swap(folder: Path) -> None:
    one, other = sorted((folder / "captures").iterdir())
    one.write_bytes(other.read_bytes())


CHANGES: dict[str, tuple[Callable[[Path], object], str]] = {
    "another capture": (_swap, "captures/0001-idle-channel-a-b.npz is not the file that the run wrote"),
    "a capture is gone": (
        lambda folder: next((folder / "captures").glob("0002*")).unlink(),
        "captures/0002-idle-channel-a-b.npz is not as the run wrote it",
    ),
    "a row of the trend": (
        lambda folder: (folder / "trend.csv").write_text((folder / "trend.csv").read_text().replace("1.0", "1.1")),
        "trend.csv is not the file that the run left",
    ),
    "no trend": (lambda folder: (folder / "trend.csv").unlink(), "trend.csv is not as the run left it"),
    "a line of the guardian": (
        lambda folder: (folder / "guardian.jsonl").write_text(
            (folder / "guardian.jsonl").read_text().replace("has died", "has slept")
        ),
        "guardian.jsonl:1: this line was changed after it was written",
    ),
    "no line of the guardian": (
        lambda folder: (folder / "guardian.jsonl").unlink(),
        "guardian.jsonl:1: this line is missing; event 4 of the journal has it",
    ),
    "a line of the journal": (
        lambda folder: (folder / "journal.jsonl").write_text(
            (folder / "journal.jsonl").read_text().replace('"samples": 2000', '"samples": 2001', 1)
        ),
        "journal.jsonl:2: this line was changed after it was written",
    ),
}


@pytest.mark.parametrize("what", CHANGES)
def test_whatever_was_changed_is_named(ended: RunFolder, what: str) -> None:
    change, expected = CHANGES[what]
    change(ended.path)
    assert expected in "; ".join(found(ended).changed)


def test_a_line_of_the_guardian_changed_with_its_hash_is_not_what_the_journal_has(ended: RunFolder) -> None:
    lines = [json.loads(line) for line in ended.guardian.read_text().splitlines()]
    ended.guardian.unlink()
    Report(ended.guardian).acting("nothing of note")
    assert lines[0]["reason"] != "nothing of note"
    assert "guardian.jsonl:1: event 4 of the journal has this line otherwise" in "; ".join(found(ended).changed)


def test_the_trend_of_a_run_that_did_not_end_cannot_be_checked(folder: RunFolder, clock: VirtualClock) -> None:
    recorder = Recorder(folder, clock)
    begin(recorder)
    recorder.finish()
    assert found(folder).unproven == ("trend.csv: the journal has its hash only once the run has ended",)
