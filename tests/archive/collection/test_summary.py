"""A run in short says what its page says, and what cannot be read is named."""

from __future__ import annotations

import csv
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from benchctl.archive.collection.figure_rows import FigureRow, table_of_file, table_of_journal
from benchctl.archive.collection.runs import runs_in
from benchctl.archive.collection.summary import summary_of
from benchctl.archive.files import PART
from benchctl.archive.folder import RunFolder
from benchctl.archive.folder_lock import written_alone
from benchctl.archive.journal.entries import entries_of
from benchctl.archive.journal.journal import read_journal
from benchctl.archive.notes import add_note
from benchctl.archive.tables.figures import read_figures
from benchctl.archive.tables.figures_csv import EARLIER_COLUMNS, write_figures
from benchctl.archive.tables.run_identity import run_identity_of
from benchctl.documents.reader import load_amplifier, load_sequence
from benchctl.errors import ArchiveError, UsageError
from benchctl.report.reading.run_record import read_run_record
from benchctl.report.summary import summary_of as as_the_page_says
from tests.journals import read_events, write_events
from tests.shared_runs import SharedRuns

Change = Callable[[RunFolder], None]


@pytest.fixture(scope="module")
def original(shared_runs: SharedRuns) -> Path:
    return shared_runs.of("quick_check", "hx2150").folder


@pytest.fixture
def run(original: Path, tmp_path: Path) -> RunFolder:
    return RunFolder(shutil.copytree(original, tmp_path / "runs" / original.name))


def _cut_off(folder: RunFolder) -> None:
    """As a kill leaves it: in the middle of a line, before any table was written."""
    events = read_events(folder.journal)
    write_events(folder.journal, events[: len(events) - 8])
    with folder.journal.open("ab") as file:
        file.write(b'{"number": 99, "time')
    folder.figures.unlink()
    folder.trend.rename(folder.trend.with_name(folder.trend.name + PART))


def _with_events(folder: RunFolder, change: Callable[[dict[str, Any]], object]) -> None:
    """Another run: its journal is a true one, and its table is written from it."""
    events = read_events(folder.journal)
    for event in events:
        change(event)
    write_events(folder.journal, events)
    read = read_journal(folder.journal).events
    write_figures(folder, entries_of(read), run_identity_of(read))


def _one_fails(folder: RunFolder) -> None:
    _judge_first(folder, "fails", 1)


def _one_is_inconclusive(folder: RunFolder) -> None:
    _judge_first(folder, "inconclusive", 1)


def _judge_first(folder: RunFolder, verdict: str, exit_code: int) -> None:
    def change(event: dict[str, Any]) -> None:
        for figure in [figure for figure in event.get("figures", ()) if figure["verdict"]][:1]:
            figure["verdict"] = verdict
        if event["event"] == "run ended":
            event["exit_code"] = exit_code

    _with_events(folder, change)


def _tripped(folder: RunFolder) -> None:
    def change(event: dict[str, Any]) -> None:
        if event["event"] == "run ended":
            event |= {"reason": "the heatsink is at 86 degC", "exit_code": 4}

    _with_events(folder, change)


def _a_step_gave_nothing(folder: RunFolder) -> None:
    def change(event: dict[str, Any]) -> None:
        if event["event"] == "step finished" and event["step"].startswith("6 "):
            event["no_figures"] = "the record holds no burst"

    _with_events(folder, change)


def _a_line_was_changed(folder: RunFolder) -> None:
    content = folder.journal.read_bytes()
    folder.journal.write_bytes(content.replace(b'"measure_idle"', b'"measure_ydle"', 1))


def _nothing(folder: RunFolder) -> None:
    """The run as it was left."""


@pytest.mark.parametrize(
    ("change", "ending", "verdict"),
    [
        (_nothing, "finished", "passes"),
        (_one_fails, "finished", "fails"),
        (_one_is_inconclusive, "finished", "inconclusive"),
        (_a_step_gave_nothing, "finished", "inconclusive"),
        (_tripped, "limit", "no verdict"),
        (_cut_off, "killed", "no verdict"),
        (_a_line_was_changed, "finished", "no verdict"),
    ],
)
def test_it_says_what_the_page_of_the_run_says(run: RunFolder, change: Change, ending: str, verdict: str) -> None:
    change(run)
    found, page = summary_of(run.path), as_the_page_says(read_run_record(run.path))
    assert found.verdict == page["verdict"].lower() == verdict
    assert found.ending == ending
    assert (found.counts.passes, found.counts.fails, found.counts.inconclusive) == tuple(page["verdicts"].values())
    assert found.exit_code == page["exit_code"]
    titles = (found.sequence, found.amplifier, found.serial or None, found.bench)
    assert titles == (page["sequence"], page["amplifier"], page["serial"], page["bench"])
    assert (found.is_simulated, found.is_dry) == (page["simulated"], page["dry_run"]) == (True, True)
    assert found.began is not None
    assert f"{found.began:%Y-%m-%d %H:%M} UTC" == page["date"]
    assert bool(found.problems) == (change in (_cut_off, _a_line_was_changed))


def test_its_figures_are_those_of_the_table_and_of_the_journal(run: RunFolder) -> None:
    """The table as pandas reads it, and the journal as it is read for a page: two other ways to the same rows."""
    rows = table_of_file(run)
    assert list(rows) == list(table_of_journal(run))
    table = read_figures(run)
    assert [(row.figure, row.value, row.verdict, row.channel) for row in rows] == list(
        zip(table["figure"], table["value"], table["verdict"], table["channel"], strict=True)
    )
    assert [row.burst_cycles for row in rows if row.burst_cycles] == table["burst_cycles"].dropna().tolist()


def test_it_names_what_else_is_asked_of_a_run(run: RunFolder) -> None:
    add_note(run.path, "Output relay of B cleaned.")
    found = summary_of(run.path)
    assert found.amplifier_class == "AB"
    assert found.is_safe
    assert found.methods == tuple({event["method"] for event in read_events(run.journal) if "method" in event})
    assert [note.text for note in found.notes] == ["Output relay of B cleaned."]
    assert found.duration_s == read_run_record(run.path).duration_s


def test_a_run_that_goes_on_is_told_from_one_that_was_cut_off(run: RunFolder) -> None:
    _cut_off(run)
    with written_alone(run):
        assert summary_of(run.path).ending == "running"
    assert summary_of(run.path).ending == "killed"


def test_a_table_of_the_earliest_version_gives_figures_with_their_names_of_today(run: RunFolder) -> None:
    """The supply's own reading was called supply_voltage, and named no record; so did verdicts have another name."""
    table = list(csv.DictReader(run.figures.read_text("utf-8").splitlines()))
    table[0] |= {"figure": "supply_voltage", "verdict": "cannot be told", "capture": ""}
    table[1] |= {"figure": "supply_voltage", "capture": "captures/0001-burst.npz"}
    with run.figures.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, EARLIER_COLUMNS, extrasaction="ignore", lineterminator="\n")
        writer.writeheader()
        writer.writerows(table)
    first, second, *_ = table_of_file(run)
    assert (first.figure, first.verdict) == ("supply_output_voltage", "inconclusive")
    assert second.figure == "supply_voltage"
    assert (first.level_v, first.drive, first.thd_limit) == (None, "", None)


@pytest.mark.parametrize("title", ["'Burst: and more'", ">\n  Burst: and\n  more", '"Burst: and more" # quoted'])
def test_a_title_is_what_the_reader_of_documents_reads(run: RunFolder, title: str) -> None:
    text = (run.inputs / "sequence.yaml").read_text("utf-8").replace("title: Quick check", f"title: {title}")
    _with_events(run, lambda event: event.get("texts", {}).update({"sequence.yaml": text}))
    (run.inputs / "sequence.yaml").write_text(text, encoding="utf-8")
    amplifier = load_amplifier(run.inputs / "amplifier.yaml")
    assert summary_of(run.path).sequence == load_sequence(run.inputs / "sequence.yaml", amplifier, {}).title


def test_what_is_no_run_or_is_damaged_is_named_and_the_others_are_read(run: RunFolder) -> None:
    runs = run.path.parent
    shutil.copytree(run.path, runs / "2026" / "november" / "nested")
    for name, content in {"empty": b"", "foreign": b"[1, 2]\n", "no-start": b'{"number": 1}\n'}.items():
        (runs / name).mkdir()
        (runs / name / "journal.jsonl").write_bytes(content)
    (runs / "half" / "inputs").mkdir(parents=True)
    (runs / "half" / "captures").mkdir()
    (runs / "photographs").mkdir()
    (runs / ".hidden").mkdir()
    broken = RunFolder(shutil.copytree(run.path, runs / "no-table"))
    broken.figures.write_text("step,figure\n1,thd\n", encoding="utf-8")
    found = runs_in(runs)
    assert [each.name for each in found.runs] == ["nested", run.name, "no-table"]
    why = {each.path.name: each.why for each in found.not_read}
    assert sorted(why) == ["empty", "foreign", "half", "no-start", "photographs"]
    assert "tells of no run" in why["empty"]
    assert "journal.jsonl" in why["half"]
    (problem,) = found.runs[-1].problems
    assert "is not a table of figures" in problem
    assert list(found.runs[-1].figures) == list(found.runs[0].figures)
    with pytest.raises(UsageError, match="there is no folder"):
        runs_in(runs / "nowhere")
    with pytest.raises(ArchiveError, match="empty"):
        summary_of(runs / "empty")


def test_nothing_heavy_is_loaded_for_it(original: Path) -> None:
    program = (
        "import sys, pathlib\n"
        "from benchctl.archive.collection.runs import runs_in\n"
        f"assert len(runs_in(pathlib.Path({str(original)!r})).runs[0].figures) > 50\n"
        "print(*{'numpy', 'pandas', 'pydantic', 'pyvisa', 'matplotlib', 'quantiphy'}.intersection(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.split() == []


def test_every_column_of_a_row_is_one_of_the_table(run: RunFolder) -> None:
    assert set(FigureRow._fields) < set(read_figures(run).columns)
