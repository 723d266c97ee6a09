"""What a guardian says: in the run folder whatever becomes of the terminal."""

from __future__ import annotations

import io
import json
import os
import sys
from pathlib import Path

import pytest

from benchctl.guard.guardian.report import Report

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="there are no such pipes")


def test_a_guardian_whose_terminal_is_closed_acts_and_reports(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    read, write = os.pipe()
    os.close(read)
    with io.TextIOWrapper(io.BufferedWriter(io.FileIO(write, "w")), encoding="ascii") as closed:
        monkeypatch.setattr(sys, "stderr", closed)
        Report(tmp_path / "guardian.jsonl").acting("the run has died")
        monkeypatch.undo()  # nothing is left in it to be written later, which would fail
    (line,) = (tmp_path / "guardian.jsonl").read_text().splitlines()
    assert json.loads(line)["reason"] == "the run has died"
