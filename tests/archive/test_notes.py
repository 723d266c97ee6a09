"""A note is a line of the journal like any other: whole or not there, and a change of it shows."""

from __future__ import annotations

import io
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path

import pytest
from PIL import Image

from benchctl.archive.evidence.findings import Findings, findings_of
from benchctl.archive.folder import RunFolder
from benchctl.archive.folder_lock import written_alone
from benchctl.archive.journal.events import NOTE, RUN_ENDED, RUN_STARTED
from benchctl.archive.journal.journal import read_journal
from benchctl.archive.journal.notes import notes_of
from benchctl.archive.notes import LONGEST_TEXT, add_note
from benchctl.archive.recorder import Recorder
from benchctl.clock import VirtualClock
from benchctl.errors import ArchiveError, UsageError


@pytest.fixture
def ended(folder: RunFolder, clock: VirtualClock) -> RunFolder:
    recorder = Recorder(folder, clock)
    recorder.event(RUN_STARTED, dry_run=True, settings={}, instruments={}, inputs={})
    recorder.event(NOTE, step="02-power_on", text="clean steady level 1 V")
    recorder.event(RUN_ENDED, reason="finished", exit_code=0, safe=True, trend_sha256=recorder.finish_trend())
    recorder.finish()
    return folder


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    path = tmp_path / "relay.png"
    Image.new("RGB", (40, 30), (200, 20, 20)).save(path)
    return path


def all_files(folder: RunFolder) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder.path)): path.read_bytes() if path.is_file() else b""
        for path in folder.path.rglob("*")
    }


def found(folder: RunFolder) -> Findings:
    return findings_of(folder, read_journal(folder.journal))


def test_a_note_is_kept_with_its_time_and_its_photographs(ended: RunFolder, photo: Path) -> None:
    add_note(ended.path, "Relay cleaned\n", [photo, photo])
    add_note(ended.path, "Second look")
    first, second = notes_of(read_journal(ended.journal).unbroken().events)
    assert (first.text, list(first.photos)) == ("Relay cleaned", ["photos/0001.jpg", "photos/0002.jpg"])
    assert Image.open(io.BytesIO((ended.path / "photos" / "0001.jpg").read_bytes())).size == (40, 30)
    assert (second.text, second.photos) == ("Second look", {})
    assert first.wall > "2026-01-02", "the day on which it was written, in the folder of a dry run too"
    assert found(ended).changed == found(ended).added == ()


def test_a_note_takes_none_of_the_runs_time(ended: RunFolder) -> None:
    before = read_journal(ended.journal).events[-1]["time_s"]
    assert add_note(ended.path, "Found later")["time_s"] == before


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda f: f.journal.write_text(f.journal.read_text().replace("cleaned", "changed")), "was changed after"),
        (lambda f: (f.photos / "0001.jpg").write_bytes(b"another"), "0001.jpg is not the file that its note kept"),
        (lambda f: (f.photos / "0001.jpg").unlink(), "0001.jpg is not as its note kept it"),
    ],
    ids=["text", "photograph", "photograph gone"],
)
def test_a_note_that_was_changed_afterwards_is_found(
    ended: RunFolder, photo: Path, change: Callable[[RunFolder], object], said: str
) -> None:
    add_note(ended.path, "Relay cleaned", [photo])
    change(ended)
    (changed,) = found(ended).changed
    assert said in changed


def test_no_note_is_added_to_a_changed_journal(ended: RunFolder) -> None:
    ended.journal.write_text(ended.journal.read_text().replace("finished", "finisheD"))
    with pytest.raises(ArchiveError, match="was changed after it was written"):
        add_note(ended.path, "Relay cleaned")


def test_a_photograph_of_no_note_is_told_of(ended: RunFolder, photo: Path) -> None:
    add_note(ended.path, "Relay cleaned", [photo])
    (ended.photos / "0007.jpg").write_bytes(photo.read_bytes())
    assert found(ended).added == ("photos/0007.jpg belongs to no note",)
    add_note(ended.path, "Again", [photo])
    assert (ended.photos / "0008.jpg").is_file(), "and is not written over"


def test_a_note_is_refused_while_the_run_goes_on(ended: RunFolder, photo: Path) -> None:
    before = all_files(ended)
    with written_alone(ended), pytest.raises(UsageError, match="still goes on") as refused:
        add_note(ended.path, "Relay cleaned", [photo])
    assert "the key n" in refused.value.advice
    assert all_files(ended) == before


@pytest.mark.parametrize("is_photo_kept", [False, True], ids=["none for the photograph", "some of the line"])
def test_a_full_disk_leaves_the_folder_as_it_was(
    ended: RunFolder, photo: Path, is_photo_kept: bool, out_of_room: Callable[[int], AbstractContextManager[None]]
) -> None:
    add_note(ended.path, "so that the journal is longer than the photograph " * 50)
    before = all_files(ended)
    room = ended.journal.stat().st_size + 10 if is_photo_kept else 100
    with out_of_room(room), pytest.raises(ArchiveError, match="disk is full") as refused:
        add_note(ended.path, "Relay cleaned", [photo])
    assert "No note was added" in refused.value.advice
    assert all_files(ended) == before
    add_note(ended.path, "Relay cleaned", [photo])
    assert found(ended).changed == ()


@pytest.mark.parametrize("text", ["", "  \n", "...", "a" * (LONGEST_TEXT + 1)], ids=["none", "blank", "dots", "long"])
def test_a_note_has_a_text_of_a_length_that_is_read(ended: RunFolder, text: str) -> None:
    with pytest.raises(UsageError, match=r"no text|at most 10000"):
        add_note(ended.path, text)


def test_no_text_can_break_the_journal(ended: RunFolder) -> None:
    """Half of a character, as a terminal with another encoding gives it, and what would move a terminal's cursor."""
    add_note(ended.path, "before \udcff \x1b[2J\x00 after\r\nnext")
    (note,) = notes_of(read_journal(ended.journal).unbroken().events)
    assert note.text == "before ? [2J after\nnext"


def test_a_photograph_that_is_none_adds_nothing(ended: RunFolder, photo: Path) -> None:
    before = all_files(ended)
    (photo.parent / "text.jpg").write_text("no picture")
    for wrong, said in ((photo.parent / "text.jpg", "it is text"), (photo.parent / "none.jpg", "cannot read")):
        with pytest.raises(UsageError, match=said):
            add_note(ended.path, "Relay cleaned", [photo, wrong])
    assert all_files(ended) == before
