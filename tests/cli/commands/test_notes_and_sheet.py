"""benchctl note, and the owner's sheet of benchctl report: what they print, and what they refuse."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from PIL import Image

from benchctl.archive.journal.journal import read_journal
from benchctl.archive.journal.notes import notes_of
from tests.cli.conftest import Command
from tests.shared_runs import SharedRuns


@pytest.fixture
def folder(shared_runs: SharedRuns, tmp_path: Path) -> Path:
    return shutil.copytree(shared_runs.of("quick_check", "hx2150").folder, tmp_path / "run")


def test_notes_and_sheet(benchctl: Command, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    Image.new("RGB", (40, 30)).save(tmp_path / "relay.png")
    said = benchctl("note", folder, "-", "--photo", "relay.png", typed="Relay K2\ncleaned\n")
    assert said.exit_code == 0
    assert "with 1 photograph" in said.out
    assert [note.text for note in notes_of(read_journal(folder / "journal.jsonl").events)] == ["Relay K2\ncleaned"]

    refused = benchctl("note", folder, "Another", "--photo", folder / "journal.jsonl")
    assert (refused.exit_code, "it is text, whatever its name says" in refused.err) == (2, True)
    assert "Traceback" not in refused.err

    monkeypatch.setenv("PATH", str(tmp_path))  # where no browser is
    sheet = benchctl("report", folder, "--sheet")
    assert sheet.exit_code == 0
    assert f"Sheet: {folder / 'sheet.html'}" in sheet.out
    assert "No PDF: no Chromium is found" in sheet.out

    for options, reason in (
        (("--sheet", "--out", "mine.pdf"), "mine.html"),
        (("--sheet", "--pictures"), "without --sheet"),
        ((folder, "--sheet"), "a comparison has no owner and no sheet"),
        ((folder, "--with-owner"), "a comparison has no owner and no sheet"),
    ):
        refused = benchctl("report", folder, *options)
        assert (refused.exit_code, reason in refused.err) == (2, True)
    (tmp_path / "mine.pdf").write_bytes(b"%PDF of somebody")
    assert "may be your own" in benchctl("report", folder, "--sheet", "--out", "mine.html").err
