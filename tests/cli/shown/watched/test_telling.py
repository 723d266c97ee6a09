"""What is told at the end of a run by a program of the user's; what goes wrong there is told and changes nothing."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from benchctl.cli.main import cli
from benchctl.cli.shown.watched import telling
from benchctl.cli.shown.watched.telling import End, tell_at_end
from tests.cli.files import IDLE, sequence

KEEPS = "import json, os, sys; json.dump([sys.argv[2:], dict(os.environ)], open(sys.argv[1], 'w'))"


def end(folder: Path, **changes: Any) -> End:
    told = {"title": "Idle", "sentence": "Stopped by a limit: '$(x)'.", "exit_code": 4, "is_safe": True}
    return End(**{"state": "tripped", **told, "folder": folder, "is_real_time": True, **changes})


def test_the_program_gets_the_end_as_its_last_argument_and_facts_in_its_environment(tmp_path: Path) -> None:
    tell_at_end([sys.executable, "-c", KEEPS, str(tmp_path / "told")], end(tmp_path))
    arguments, environment = json.loads((tmp_path / "told").read_text())
    assert arguments == ["Idle: Stopped by a limit: '$(x)'."], "no shell has seen it"
    facts = {name: environment[f"BENCHCTL_{name}"] for name in ("STATE", "EXIT_CODE", "SAFE", "RUN_FOLDER")}
    assert facts == {"STATE": "tripped", "EXIT_CODE": "4", "SAFE": "yes", "RUN_FOLDER": str(tmp_path)}


@pytest.mark.parametrize(
    ("program", "told"),
    [
        ("import sys; sys.exit('no network')", "failed with exit code 1: no network"),
        ("import time; time.sleep(60)", "took longer than 0.2 s and was ended"),
    ],
)
def test_a_program_that_fails_or_hangs_is_told_of(
    program: str, told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(telling, "COMMAND_TIME_S", 0.2 if "sleep" in program else telling.COMMAND_TIME_S)
    tell_at_end([sys.executable, "-c", program], end(tmp_path))
    assert told in capsys.readouterr().err


def test_the_desktop_is_told_where_there_is_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    notifier = tmp_path / "notify-send"
    notifier.write_text(f"#!/bin/sh\nprintf '%s|' \"$@\" >> {tmp_path}/told\n")
    notifier.chmod(0o755)
    monkeypatch.setenv("PATH", f"{tmp_path}:/bin:/usr/bin")
    monkeypatch.setenv("DISPLAY", ":0")
    tell_at_end([], end(tmp_path))
    tell_at_end([], end(tmp_path, is_real_time=False))
    assert (tmp_path / "told").read_text() == "-u|critical|--|Idle|Stopped by a limit: '$(x)'.|"


def test_a_run_whose_program_is_not_there_ends_with_its_own_exit_code_and_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BENCHCTL_AT_END", "there-is-no-such-program --short")
    arguments = ["run", str(sequence(tmp_path, IDLE)), "-b", "workshop", "-a", "hx2150", "--dry-run"]
    done = CliRunner().invoke(cli, [*arguments, "--out", str(tmp_path / "runs")], standalone_mode=False)
    assert done.return_value == 0
    assert "Warning: the program of --at-end could not be started" in done.stderr
    assert "there-is-no-such-program" in done.stderr
