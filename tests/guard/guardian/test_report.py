"""What a guardian says: in the run folder whatever becomes of the terminal, line by line with the other guardian."""

from __future__ import annotations

import io
import json
import os
import sys
import threading
from contextlib import suppress
from pathlib import Path

import pytest

from benchctl.archive.journal.chain import Chain
from benchctl.file_lock import try_lock
from benchctl.guard.guardian import report as module
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


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_guardian_that_acts_takes_the_panel_of_the_dead_run_off_the_terminal_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Private mode 1047 of xterm, reset: the usual screen, where the cursor is shown again by mode 25."""
    for stderr, before in ((Terminal(), "\x1b[?1047l\x1b[?25h"), (io.StringIO(), "")):
        with monkeypatch.context() as changed:
            changed.setattr(sys, "stderr", stderr)
            Report(tmp_path / "guardian.jsonl").acting("the run has died")
        assert stderr.getvalue() == f"{before}guardian: the run has died; making the bench safe\n"


def test_the_lines_of_two_that_write_at_the_same_time_are_each_sealed_with_the_one_before(tmp_path: Path) -> None:
    path = tmp_path / "guardian.jsonl"
    both = [Report(path), Report(path)]
    threads = [threading.Thread(target=lambda each=each: [each.acted((), then="") for _ in range(50)]) for each in both]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    lines, chain = path.read_bytes().splitlines(), Chain()
    assert len(lines) == 100
    assert [wrong for line in lines if (wrong := chain.follow(line))] == []


def test_one_that_stands_still_while_it_writes_keeps_the_other_from_its_work_for_a_moment_only(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "PATIENCE_S", 0.05)
    path = tmp_path / "guardian.jsonl"
    with path.open("a+b", buffering=0) as stuck:
        assert try_lock(stuck)
        Report(path).acting("the run has died")
    assert b"acting" in path.read_bytes()
