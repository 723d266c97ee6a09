"""A guardian's process is found by none of the words by which a run is looked for."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from benchctl.guard.guardian.start import NAME, start_process
from tests.guard.switches import guardian

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="/proc is Linux's")

WORDS = ("python", "benchctl")


def command_line(pid: int) -> str:
    return Path(f"/proc/{pid}/cmdline").read_bytes().replace(b"\0", b" ").decode()


def name(pid: int) -> str:
    return Path(f"/proc/{pid}/comm").read_text("utf-8").strip()


@contextmanager
def started() -> Iterator[subprocess.Popen[bytes]]:
    process = start_process(subprocess.DEVNULL)
    with process:
        yield process
        process.communicate(b"")


def test_once_it_is_ready_its_name_and_command_line_hold_neither_word(tmp_path: Path) -> None:
    with guardian([], tmp_path / "guardian.jsonl") as each:
        pid = each.process.pid
        assert name(pid) == NAME
        assert not any(word in name(pid) + command_line(pid) for word in WORDS)


def test_its_command_line_holds_neither_word_from_the_first_however_the_program_is_installed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    telling = tmp_path / "benchctl" / ".venv" / "bin"
    telling.mkdir(parents=True)
    (telling / "python").symlink_to(sys.executable)
    monkeypatch.setattr(sys, "executable", str(telling / "python"))
    monkeypatch.setenv("TMPDIR", str(telling))
    with started() as process:
        assert not any(word in command_line(process.pid) for word in WORDS)


def test_it_has_a_process_group_and_a_session_of_its_own() -> None:
    with started() as process:
        assert os.getpgid(process.pid) == os.getsid(process.pid) == process.pid


def test_it_finds_its_libraries_from_wherever_it_is_started(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "json.py").write_text("raise SystemExit('the wrong json')\n")
    monkeypatch.chdir(tmp_path)
    monkeypatch.syspath_prepend("")
    with guardian([], tmp_path / "guardian.jsonl") as each:
        each.say("done")
        assert each.end() == (0, "")
