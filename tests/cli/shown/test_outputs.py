"""What becomes of the output never decides how a command ends: consoles that lack characters, closed and full ones.

Each command is a process of its own, for what Python does with its streams at the end is a part of it.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

import pytest

from benchctl.archive.journal.events import OUTPUT_LOST
from benchctl.archive.journal.journal import read_journal
from tests.cli.files import IDLE, bench_on_free_ports, written

OHM_NOTE = (
    "steps:\n",
    "steps:\n  - note: {text: 'open the 4 \N{OHM SIGN} lead, 85 \N{DEGREE SIGN}C \N{PLUS-MINUS SIGN} 2 K'}\n",
)
PROGRAM = "from benchctl.cli.main import main; main()"
FULL = Path("/dev/full")
posix_only = pytest.mark.skipif(sys.platform == "win32", reason="there are no such pipes")


def begin(
    *arguments: str | Path, stdout: int, env: Mapping[str, str] | None = None
) -> subprocess.CompletedProcess[bytes]:
    command = [sys.executable, "-c", PROGRAM, *map(str, arguments)]
    return subprocess.run(
        command, stdout=stdout, stderr=subprocess.PIPE, timeout=120, check=False, env=os.environ | dict(env or {})
    )


def dry_run(folder: Path, *, stdout: int, env: Mapping[str, str] | None = None) -> subprocess.CompletedProcess[bytes]:
    sequence = written(folder / "idle.yaml", IDLE, OHM_NOTE)
    options = ["--bench", "workshop", "--amplifier", "hx2150", "--dry-run", "--out", folder / "runs"]
    return begin("run", sequence, *options, stdout=stdout, env=env)


def closed_pipe() -> int:
    """The end of a pipe whose reader has gone, as behind `| head -n 4`."""
    read, write = os.pipe()
    os.close(read)
    return write


def lost_in(folder: Path) -> list[tuple[object, object]]:
    (run_folder,) = (folder / "runs").iterdir()
    assert (run_folder / "report.html").exists()
    events = read_journal(run_folder / "journal.jsonl").events
    return [(event["stream"], event["reason"]) for event in events if event["event"] == OUTPUT_LOST]


def test_a_run_shows_an_ohm_sign_on_a_console_that_has_none_and_ends_as_ever(tmp_path: Path) -> None:
    shown = dry_run(tmp_path, stdout=subprocess.PIPE, env={"PYTHONIOENCODING": "ascii"})
    assert shown.returncode == 0
    assert b"open the 4 ohm lead, 85 degC +/- 2 K" in shown.stdout
    assert shown.stderr == b""
    assert lost_in(tmp_path) == []


@pytest.mark.parametrize("encoding", ["cp1252", "cp437", "latin-1", "ascii"])
def test_a_title_is_shown_in_what_the_console_has(encoding: str, tmp_path: Path) -> None:
    title = "Idle into 4 \N{OHM SIGN}"
    sequence = written(tmp_path / "idle.yaml", IDLE, ("Idle only", title))
    shown = begin("check", sequence, stdout=subprocess.PIPE, env={"PYTHONIOENCODING": encoding})
    assert shown.returncode == 0
    assert "Idle into 4 ohm" in shown.stdout.decode(encoding)


@posix_only
def test_a_run_whose_reader_has_gone_goes_on_to_its_end_with_its_own_exit_code(tmp_path: Path) -> None:
    pipe = closed_pipe()
    shown = dry_run(tmp_path, stdout=pipe)
    os.close(pipe)
    assert shown.returncode == 0
    assert b"Finished: 1 verdict passes." in shown.stderr
    assert b"Traceback" not in shown.stderr
    assert lost_in(tmp_path) == [("standard output", "Broken pipe")]


@pytest.mark.skipif(not FULL.exists(), reason="there is no device that is always full")
def test_a_run_with_a_full_output_goes_on_and_says_so(tmp_path: Path) -> None:
    with FULL.open("wb") as full:
        shown = dry_run(tmp_path, stdout=full.fileno())
    assert shown.returncode == 0
    assert b"Warning: standard output could not be shown whole: No space left on device." in shown.stderr
    assert lost_in(tmp_path) == [("standard output", "No space left on device")]


@posix_only
def test_a_command_without_any_open_file_ends_with_its_own_exit_code(tmp_path: Path) -> None:
    """Its first three files are closed, and none that it opens itself is taken for one of them."""
    program = f"exec {sys.executable} -c '{PROGRAM}' check idle.yaml <&- >&- 2>&-"
    written(tmp_path / "idle.yaml", IDLE, ("idle_current: below", "idle_curent: below"))
    assert subprocess.run(["/bin/sh", "-c", program], cwd=tmp_path, timeout=60, check=False).returncode == 2


@posix_only
def test_safe_asks_every_instrument_though_nobody_reads_its_words(tmp_path: Path) -> None:
    pipe = closed_pipe()
    shown = begin("safe", "--bench", bench_on_free_ports(tmp_path), stdout=pipe)
    os.close(pipe)
    assert shown.returncode == 5  # nothing answers on free ports
    assert b"NOT SAFE" in shown.stderr
    assert shown.stderr.count(b"NOT CONFIRMED") >= 4
