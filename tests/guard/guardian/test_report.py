"""What a guardian says: in the run folder whatever becomes of the terminal."""

from __future__ import annotations

import io
import json
import os
import sys
import threading
from contextlib import suppress
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


def test_a_guardian_whose_terminal_stands_still_goes_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As after Ctrl-S: the pipe is full and nobody reads it. What is still on waits for no terminal."""
    read, write = os.pipe()
    os.set_blocking(write, False)
    with suppress(BlockingIOError):
        while os.write(write, bytes(4096)):
            pass
    os.set_blocking(write, True)
    with io.TextIOWrapper(io.BufferedWriter(io.FileIO(write, "w")), encoding="ascii") as still:
        monkeypatch.setattr(sys, "stderr", still)
        acting = threading.Thread(target=Report(tmp_path / "guardian.jsonl").acting, args=("it died",), daemon=True)
        acting.start()
        acting.join(30.0)
        has_gone_on = not acting.is_alive()
        os.close(read)  # lets go of one that has not
        acting.join(30.0)
        monkeypatch.undo()
    assert has_gone_on
