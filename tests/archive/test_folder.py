"""Where a run's files go, and under which names."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.archive.folder import RunFolder, slug
from benchctl.clock import VirtualClock
from benchctl.errors import ArchiveError, UsageError


def test_a_folder_is_named_by_date_title_and_amplifier(tmp_path: Path, clock: VirtualClock) -> None:
    folder = RunFolder.create(tmp_path / "runs", "Burst and continuous", "HX 2150", clock)
    assert folder.path == tmp_path / "runs" / "20260101-080000-burst-and-continuous-hx-2150"
    assert folder.inputs.is_dir()
    assert folder.captures.is_dir()


def test_a_name_that_is_taken_gets_a_number(tmp_path: Path, clock: VirtualClock) -> None:
    names = [RunFolder.create(tmp_path, "Idle", "HX", clock).name for _ in range(3)]
    assert names == ["20260101-080000-idle-hx", "20260101-080000-idle-hx-2", "20260101-080000-idle-hx-3"]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Burst & continuous, 1 kHz", "burst-continuous-1-khz"),
        ("../../etc/passwd", "etc-passwd"),
        ("Prüfung à froid", "prufung-a-froid"),
        ("C:\\aux\0<>|?*", "c-aux"),
        ("___", "untitled"),
        ("", "untitled"),
        ("Усилитель 2", "усилитель-2"),
    ],
)
def test_a_slug_is_safe_in_a_file_name_everywhere(text: str, expected: str) -> None:
    assert slug(text) == expected


def test_a_long_title_still_gives_a_short_name(tmp_path: Path, clock: VirtualClock) -> None:
    assert len(RunFolder.create(tmp_path, "long " * 100, "name " * 100, clock).name) <= 16 + 2 * 49


def test_a_place_that_cannot_hold_a_folder_is_an_archive_error(tmp_path: Path, clock: VirtualClock) -> None:
    (tmp_path / "runs").write_text("a file")
    with pytest.raises(ArchiveError, match="cannot create"):
        RunFolder.create(tmp_path / "runs", "Idle", "HX", clock)


def test_only_a_folder_with_a_journal_can_be_opened(folder: RunFolder) -> None:
    with pytest.raises(UsageError, match=r"is not a run folder: it holds no journal\.jsonl"):
        RunFolder.open(folder.path)
    folder.journal.write_text("")
    assert RunFolder.open(folder.path) == folder


def test_inputs_are_kept_word_for_word(folder: RunFolder) -> None:
    path = folder.save_input("sequence.yaml", "title: Ω\r\nlimits:\n")
    assert path == folder.inputs / "sequence.yaml"
    assert path.read_bytes() == "title: Ω\r\nlimits:\n".encode()


def test_an_input_that_is_gone_is_named_and_not_taken_for_a_shipped_file(folder: RunFolder) -> None:
    assert folder.kept_input(folder.save_input("bench.yaml", "title: bench\n").name).is_file()
    with pytest.raises(ArchiveError, match=r"is not a whole run folder: it holds no inputs/amplifier\.yaml"):
        folder.kept_input("amplifier.yaml")


@pytest.mark.parametrize("name", ["../elsewhere.txt", "captures/../../elsewhere.txt", "/tmp/elsewhere.txt"])
def test_no_name_leads_out_of_the_folder(folder: RunFolder, name: str) -> None:
    with pytest.raises(ArchiveError, match="leads out of the run folder"):
        folder.write_atomically(name, "x")


def test_a_name_that_is_none_is_an_archive_error(folder: RunFolder) -> None:
    (folder.captures / "loop").symlink_to("loop")
    for name in ("captures/a\0.npz", "captures/loop/x"):
        with pytest.raises(ArchiveError, match="is not a file name"):
            folder.inside(name)


def test_captures_are_numbered_on_from_the_highest_there_is(folder: RunFolder) -> None:
    assert folder.next_capture_file("Burst 8") == "captures/0001-burst-8.npz"
    (folder.captures / "0007-idle.npz").touch()
    (folder.captures / "0009-torn.npz.part").touch()
    assert folder.next_capture_file("full") == "captures/0008-full.npz"
    assert folder.capture_files() == ["captures/0007-idle.npz"]
