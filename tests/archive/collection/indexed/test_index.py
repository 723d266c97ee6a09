"""An index answers as the folders do, and whatever becomes of it costs time and nothing else."""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from benchctl.archive.collection.figure_rows import NO_FIGURES
from benchctl.archive.collection.indexed import side_by_side
from benchctl.archive.collection.indexed.index import Collection, collection_of
from benchctl.archive.collection.indexed.index_file import index_path
from benchctl.archive.collection.runs import runs_in
from benchctl.archive.folder import RunFolder
from benchctl.archive.folder_lock import written_alone
from benchctl.archive.notes import add_note

FIGURE = "continuous_power"


@pytest.fixture
def index(tmp_path: Path) -> Path:
    return tmp_path / "cache" / "index.sqlite"


@pytest.fixture
def own(ferry_workshop: Path, tmp_path: Path) -> Path:
    """A few of the folders, to change."""
    some = sorted(path for path in ferry_workshop.iterdir() if (path / "figures.csv").is_file())[:4]
    for path in some:
        shutil.copytree(path, tmp_path / "runs" / path.name)
    return tmp_path / "runs"


def read_by(root: Path, index: Path) -> tuple[Collection, int]:
    """What there is, and how many folders were read for it."""
    counts = [0]
    return collection_of(root, FIGURE, index=index, on_reading=counts.append), counts[-1]


def test_it_answers_as_the_folders_do_the_first_time_and_later(ferry_workshop: Path, index: Path) -> None:
    plain = runs_in(ferry_workshop)
    first, first_read = read_by(ferry_workshop, index)
    again, read_again = read_by(ferry_workshop, index)
    assert first == again
    assert first.runs == tuple(replace(run, figures=NO_FIGURES) for run in plain.runs)
    assert first.not_read == plain.not_read
    assert {other.path.name for other in first.not_read} >= {"half written", "photographs", "damaged"}
    assert (first_read > 30, read_again) == (True, 0)
    powers = {run.folder: [row.value for row in run.figures if row.figure == FIGURE] for run in plain.runs}
    found = {folder: [row.value for row in rows] for folder, rows in first.figures.items()}
    assert found == {folder: values for folder, values in powers.items() if values}
    first_rows = next(iter(first.figures.values()))
    of_folder = next(run for run in plain.runs if run.folder == next(iter(first.figures)))
    like = next(row for row in of_folder.figures if row.figure == FIGURE)
    assert first_rows[0] == like._replace(driven="", bursts="", bound_reason="", capture="", time_s=None)


def test_only_what_is_new_or_changed_is_read_again_and_what_is_gone_is_dropped(own: Path, index: Path) -> None:
    before, _ = read_by(own, index)
    one, two, three, four = (run.folder for run in before.runs)
    add_note(one, "Fan replaced.")
    shutil.rmtree(two)
    shutil.copytree(three, own / "2026" / "copy")
    after, count = read_by(own, index)
    assert count == 2
    assert {run.folder for run in after.runs} == {one, three, four, own / "2026" / "copy"}
    assert next(run for run in after.runs if run.folder == one).notes[0].text == "Fan replaced."
    assert two not in after.figures


def test_an_index_that_was_deleted_damaged_or_made_by_another_version_is_made_anew(own: Path, index: Path) -> None:
    whole, _ = read_by(own, index)
    for spoil in (_delete, _fill_with_noise, _cut_short, _of_another_version, _without_a_table):
        spoil(index)
        again, count = read_by(own, index)
        assert again == whole, spoil.__name__
        assert count == 4, spoil.__name__


def _delete(index: Path) -> None:
    index.unlink()


def _fill_with_noise(index: Path) -> None:
    index.write_bytes(bytes(range(256)) * 64)


def _cut_short(index: Path) -> None:
    index.write_bytes(index.read_bytes()[:5000])


def _of_another_version(index: Path) -> None:
    connection = sqlite3.connect(index)
    connection.executescript("DROP TABLE runs; CREATE TABLE runs (path TEXT, other TEXT); PRAGMA user_version = 0")
    connection.close()


def _without_a_table(index: Path) -> None:
    connection = sqlite3.connect(index)
    connection.executescript("DROP TABLE figures")
    connection.close()


def test_where_no_index_can_be_kept_every_folder_is_read_and_that_is_said(own: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("no folder")
    found, _ = read_by(own, tmp_path / "file" / "index.sqlite")
    assert len(found.runs) == 4
    assert "no index can be kept" in found.without_index


def test_several_programs_may_make_and_use_it_at_once(own: Path, index: Path) -> None:
    program = (
        "import sys, pathlib; from benchctl.archive.collection.indexed.index import collection_of; "
        "found = collection_of(pathlib.Path(sys.argv[1]), index=pathlib.Path(sys.argv[2])); "
        "print(len(found.runs), found.without_index)"
    )
    started = [
        subprocess.Popen([sys.executable, "-c", program, str(own), str(index)], stdout=subprocess.PIPE, text=True)
        for _ in range(3)
    ]
    assert [each.communicate(timeout=60)[0].split() for each in started] == [["4"]] * 3


def test_a_run_that_nobody_writes_any_more_is_told_although_no_file_shows_it(own: Path, index: Path) -> None:
    folder = RunFolder(next(iter(sorted(own.iterdir()))))
    lines = folder.journal.read_bytes().splitlines(keepends=True)
    folder.journal.write_bytes(b"".join(lines[:-1]))
    with written_alone(folder):
        assert read_by(own, index)[0].runs[0].ending == "running"
    assert read_by(own, index)[0].runs[0].ending == "killed"


def test_it_lies_in_the_users_cache_and_never_among_the_runs(
    own: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("BENCHCTL_CACHE")
    monkeypatch.setattr("platformdirs.user_cache_path", lambda *_, **__: tmp_path / "cache")
    before = sorted(own.rglob("*"))
    collection_of(own)
    assert sorted(own.rglob("*")) == before
    assert index_path(own).is_file()
    assert tmp_path / "cache" in index_path(own).parents
    assert index_path(own) != index_path(own.parent)


@pytest.mark.parametrize(("python", "left"), [(sys.executable, []), ("/bin/false", [24])])
def test_many_folders_are_read_by_several_processes_and_none_of_them_is_needed(
    ferry_workshop: Path, index: Path, monkeypatch: pytest.MonkeyPatch, python: str, left: list[int]
) -> None:
    alone = collection_of(ferry_workshop, FIGURE, index=index.with_name("alone.sqlite"))
    monkeypatch.setattr(side_by_side, "WORTH_IT", 10)
    monkeypatch.setattr("os.cpu_count", lambda: 3)
    monkeypatch.setattr("sys.executable", python)
    counts: list[int] = []
    together = collection_of(ferry_workshop, FIGURE, index=index, on_reading=counts.append)
    assert together == alone
    assert counts == [37, *left]  # two thirds are left undone where the others cannot be started


def test_the_current_folder_is_looked_into_as_any_other(
    own: Path, index: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole, _ = read_by(own, index)
    monkeypatch.chdir(own)
    here, count = read_by(Path(), index)
    assert count == 0
    assert [run.folder.resolve() for run in here.runs] == [run.folder for run in whole.runs]
    monkeypatch.chdir(whole.runs[0].folder)
    assert [run.serial for run in read_by(Path(), index.with_name("other.sqlite"))[0].runs] == [whole.runs[0].serial]
