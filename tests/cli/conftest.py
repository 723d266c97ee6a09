"""The command line as a user has it: arguments in; exit code, standard output and standard error out."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from benchctl.cli.main import main


@dataclass(frozen=True)
class Finished:
    """What a command came to."""

    exit_code: int
    out: str
    err: str

    @property
    def data(self) -> Any:
        """What it printed, as JSON."""
        return json.loads(self.out)


Command = Callable[..., Finished]


@pytest.fixture
def benchctl(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Command:
    """Runs a command in an empty folder; `typed` is what the operator types, nothing and no end of it by default."""
    monkeypatch.chdir(tmp_path)

    def run(*arguments: str | Path, typed: str = "") -> Finished:
        monkeypatch.setattr("sys.stdin", io.StringIO(typed))
        capsys.readouterr()
        with pytest.raises(SystemExit) as ended:
            main([str(argument) for argument in arguments])
        printed = capsys.readouterr()
        assert isinstance(ended.value.code, int)
        return Finished(ended.value.code, printed.out, printed.err)

    return run
