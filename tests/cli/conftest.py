"""The command line as a user has it: arguments in; exit code, standard output and standard error out."""

from __future__ import annotations

import io
import json
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from benchctl.cli.main import main
from benchctl.launch.run import Documents
from benchctl.launch.run import run as perform
from benchctl.report.page import write_report
from benchctl.report.reading.run_record import read_run_record
from benchmarks.nobody import Nobody
from tests.cli.files import sequence


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
RunFolderOf = Callable[[str], Path]


@pytest.fixture(scope="session")
def _made(tmp_path_factory: pytest.TempPathFactory) -> RunFolderOf:
    """Dry runs of sequences, with their pages; each is made once."""
    done: dict[str, Path] = {}

    def of(text: str) -> Path:
        if text not in done:
            folder = tmp_path_factory.mktemp("made")
            documents = Documents(sequence(folder, text), "workshop", "hx2150")
            done[text] = perform(documents, Nobody(), out=folder / "runs", dry_run=True).folder
            write_report(read_run_record(done[text]))
        return done[text]

    return of


@pytest.fixture
def run_folder_of(_made: RunFolderOf, tmp_path: Path) -> RunFolderOf:
    """A copy of such a run's folder, for the test to change."""
    return lambda text: Path(shutil.copytree(_made(text), tmp_path / "runs" / _made(text).name))


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
