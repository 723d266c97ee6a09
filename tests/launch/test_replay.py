"""A run that was recorded and is run again without its instruments."""

from __future__ import annotations

import shutil
from pathlib import Path

import pandas as pd
import pytest

from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.journal import read_journal
from benchctl.archive.tables.figures import read_figures
from benchctl.archive.verify import verify
from benchctl.cli.shown.closing_line import mark_in_words
from benchctl.errors import UsageError
from benchctl.instruments.links.recordings.traffic import Recording
from benchctl.launch.replay import replay
from benchctl.launch.run import Documents, Result, run
from benchmarks.nobody import Nobody
from tests.cli.files import TONE, bench, sequence


def record(folder: Path, *changes: tuple[str, str]) -> Result:
    documents = Documents(sequence(folder, TONE), bench(folder, *changes), "hx2150")
    return run(documents, Nobody(), out=folder / "runs", dry_run=True, records=True)


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Result:
    return record(tmp_path_factory.mktemp("recorded"))


@pytest.fixture(scope="module")
def replayed(recorded: Result, tmp_path_factory: pytest.TempPathFactory) -> Result:
    return replay(recorded.folder, Nobody(), out=tmp_path_factory.mktemp("replayed"))


def measured(result: Result) -> pd.DataFrame:
    """The figures, without the columns that name the run."""
    table = read_figures(RunFolder.open(result.folder))
    return table.drop(columns=[name for name in ("run", "simulated") if name in table])


def test_it_comes_to_the_same_figures(recorded: Result, replayed: Result) -> None:
    assert replayed.outcome.error is None
    assert len(measured(replayed)) > 5
    pd.testing.assert_frame_equal(measured(replayed), measured(recorded))


def test_its_figures_can_be_computed_again(replayed: Result) -> None:
    assert verify(replayed.folder).agrees


def test_it_is_marked_as_replayed(recorded: Result, replayed: Result) -> None:
    began = read_journal(replayed.folder / "journal.jsonl").events[0]
    assert (began["replayed"], began["dry_run"]) == (True, False)
    assert mark_in_words(replayed.simulation).startswith("Replayed, no measurement")
    assert mark_in_words(recorded.simulation).startswith("Simulated, no measurement")


def test_the_file_alone_is_enough(recorded: Result, tmp_path: Path) -> None:
    sent = shutil.copy(recorded.folder / "traffic.jsonl.gz", tmp_path / "from_a_friend.gz")
    result = replay(Path(sent), Nobody(), out=tmp_path / "runs")
    pd.testing.assert_frame_equal(measured(result), measured(recorded))


def test_a_fault_that_ended_a_run_ends_it_again_in_the_same_words(tmp_path: Path) -> None:
    fault = "simulation:\n  faults: [{instrument: supply, kind: not a number, exchange: 60, times: 2}]\n"
    before = record(tmp_path, ("simulation:\n", fault))
    again = replay(before.folder, Nobody(), out=tmp_path / "again")
    assert before.outcome.error is not None
    assert str(again.outcome.error) == str(before.outcome.error)
    assert again.outcome.exit_code == before.outcome.exit_code


def test_a_run_folder_without_a_recording_says_so(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"cannot read .*traffic\.jsonl\.gz"):
        replay(tmp_path, Nobody(), out=tmp_path)


def test_a_recording_writes_nothing_outside_of_the_folder_of_its_documents(tmp_path: Path) -> None:
    recording = Recording(lambda: 0.0)
    texts = {"../../escaped.yaml": "benchctl: bench 1"}
    recording.keep_in(tmp_path / "traffic", {"inputs": texts, "settings": {}, "addresses": {}, "marks_ends": {}})
    recording.close()
    with pytest.raises(UsageError, match="which no run keeps"):
        replay(tmp_path / "traffic", Nobody(), out=tmp_path)
