"""A run that ended early goes on in its own folder, measures nothing twice, and ends with the whole table."""

from __future__ import annotations

import json
import shutil
from collections.abc import Sequence
from pathlib import Path

import pandas as pd
import pytest

from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.events import GUARDIAN_ACTED, INPUTS_ACCEPTED
from benchctl.archive.journal.journal import read_journal
from benchctl.archive.journal.notes import notes_of
from benchctl.archive.notes import add_note
from benchctl.archive.tables.figures import read_figures
from benchctl.archive.verify import Verification, verify
from benchctl.documents.reader import load_bench
from benchctl.errors import ArchiveError, PreflightRefused, UsageError
from benchctl.guard.confirmation import Confirmation
from benchctl.guard.guardian.report import Report
from benchctl.launch.resume import resume
from benchctl.launch.run import Documents, Result, run
from benchctl.library import find
from benchctl.measure.budget.figure import Figure
from benchctl.measure.method import FIRST_METHOD, METHOD
from benchctl.report.reading.run_outcome import run_outcome_of
from benchctl.report.reading.run_record import RunRecord, read_run_record
from benchctl.report.sections.page_head import boxes_of
from benchctl.runner.acting.run import Run
from benchctl.runner.checks.preflight import Preflight
from benchctl.runner.plan import PlannedStep
from tests.cli.files import sequence
from tests.journals import read_events, write_events

KEY = ["step", "load_ohm", "frequency_hz", "burst_cycles", "channel", "figure"]


class Silent:
    """An observer with nothing to say."""

    def started(self, checked: Preflight, run: Run) -> None: ...
    def step_started(self, index: int, planned: PlannedStep) -> None: ...
    def figures(self, planned: PlannedStep, figures: Sequence[Figure]) -> None: ...
    def note(self, text: str) -> None: ...
    def progress(self, text: str) -> None: ...
    def hands_needed(self, request: str) -> None: ...


class Listening(Silent):
    """One who keeps what is said."""

    def __init__(self) -> None:
        self.notes: list[str] = []

    def note(self, text: str) -> None:
        self.notes.append(text)


# Sooner done than a shipped one, with one channel: a verdict, and at two points a search and a drive at what it found.
# A run that goes on between two burst lengths is in tests/faults/test_power_cycle.py.
SHORT = """\
benchctl: sequence 1
title: Idle, then two frequencies
limits: {supply_current: {above: 95 A}}
steps:
  - power_on: {voltage: 14.4 V, current_limit: 90 A}
  - measure_idle: {for: 1 s, expect: {idle_current: below 2.5 A}}
  - sweep: {load: [4 ohm], frequency: [1 kHz, 2 kHz]}
    steps:
      - find_clean_level: {thd_n: 1 %, from: 400 mV, to: 2 V}
      - measure_continuous: {for: 1 s}
  - power_off
"""


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Result:
    folder = tmp_path_factory.mktemp("runs")
    return run(Documents(sequence(folder, SHORT), "heavy_bench", "hx2150_bridged"), Silent(), out=folder, dry_run=True)


def cut_after(whole: Result, folder: Path, lines: int) -> Path:
    """A copy of the run folder as a kill would have left it after so many lines of the journal."""
    shutil.copytree(whole.folder, folder)
    journal = folder / "journal.jsonl"
    kept = journal.read_text().splitlines(keepends=True)[:lines]
    journal.write_text("".join(kept))
    needed = {name for line in kept for name in [json.loads(line).get("file")] if name}
    for capture in (folder / "captures").iterdir():
        if f"captures/{capture.name}" not in needed:
            capture.unlink()
    (folder / "figures.csv").unlink()
    return folder


@pytest.fixture(scope="module")
def half_way(whole: Result, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a run that was killed in the middle, whose guardian acted, to which a person added a note, and that
    went on to its end."""
    lines = len(events(whole.folder)) // 2
    folder = guarded(cut_after(whole, tmp_path_factory.mktemp("half") / "run", lines))
    add_note(folder, "A plug was loose")
    assert resume(folder, Silent()).outcome.exit_code == whole.outcome.exit_code
    return folder


def events(folder: Path) -> list[str]:
    return [event["event"] for event in read_journal(folder / "journal.jsonl").events]


def table(folder: Path) -> pd.DataFrame:
    return read_figures(RunFolder.open(folder))


@pytest.mark.parametrize("part", [0.15, 0.6, 0.9])
def test_the_final_table_is_that_of_an_undisturbed_run(whole: Result, tmp_path: Path, part: float) -> None:
    lines = int(part * len(events(whole.folder)))
    folder = cut_after(whole, tmp_path / "run", lines)
    resumed = resume(folder, Silent())
    assert resumed.outcome.exit_code == whole.outcome.exit_code
    assert_same_table(whole, folder)


def test_so_is_that_of_a_run_whose_guardian_acted_in_between(whole: Result, half_way: Path) -> None:
    assert_same_table(whole, half_way)


def assert_same_table(whole: Result, folder: Path) -> None:
    """Every figure once, and each within the uncertainty of both."""
    both = table(whole.folder).merge(table(folder), on=KEY, suffixes=("", "_resumed"), how="outer", indicator=True)
    assert set(both["_merge"]) == {"both"}
    assert not table(folder).duplicated(KEY).any()
    apart = (both["value"] - both["value_resumed"]).abs()
    allowed = both["expanded_uncertainty"].fillna(0) + both["expanded_uncertainty_resumed"].fillna(0)
    compared = both["bound"].isna() | (both["bound"] == "")
    assert (apart <= allowed)[compared].all()


def test_a_resumed_folder_can_be_verified_as_a_whole(half_way: Path) -> None:
    found = verify(half_way)
    assert found.agrees
    assert found.checked == len(table(half_way))


def test_the_journal_goes_on_in_number_and_time(half_way: Path) -> None:
    journal = read_journal(half_way / "journal.jsonl").events
    assert [event["number"] for event in journal] == list(range(1, len(journal) + 1))
    times = [event["time_s"] for event in journal]
    assert times == sorted(times)
    assert "run resumed" in events(half_way)


def test_a_note_between_two_parts_stays(half_way: Path) -> None:
    journal = read_journal(half_way / "journal.jsonl").unbroken()
    assert [note.text for note in notes_of(journal.events)] == ["A plug was loose"]
    kinds = [event["event"] for event in journal.events]
    assert kinds.index("run resumed") > next(note.number for note in notes_of(journal.events)) - 1


def test_a_finished_step_is_not_performed_again(whole: Result, tmp_path: Path) -> None:
    journal = read_journal(whole.folder / "journal.jsonl").events
    (idle,) = [e["number"] for e in journal if e["event"] == "step finished" and "measure_idle" in e["step"]]
    folder = cut_after(whole, tmp_path / "run", idle)
    resume(folder, Silent())
    assert (
        sum(
            e["event"] == "step started" and "measure_idle" in e["step"]
            for e in read_journal(folder / "journal.jsonl").events
        )
        == 1
    )


def test_a_whole_run_has_nothing_to_go_on_with(whole: Result) -> None:
    with pytest.raises(UsageError, match="nothing to go on with"):
        resume(whole.folder, Silent())


# -- every step is finished, and something is missing all the same ---------------------------------------------


def assert_completed(folder: Path, whole: Result) -> None:
    """Its end is told, its tables stand under their names, and nothing was switched on for it."""
    resumed = resume(folder, Silent())
    assert resumed.outcome.exit_code == whole.outcome.exit_code
    assert resumed.outcome.verdicts("passes") == whole.outcome.verdicts("passes")
    told = events(folder)
    since = [kind for kind in told[told.index("run resumed") :] if kind != "watchdog armed"]
    assert since == ["run resumed", "safe state", "run ended"]
    assert table(folder).equals(table(whole.folder))
    assert RunFolder.open(folder).is_closed
    with pytest.raises(UsageError, match="nothing to go on with"):
        resume(folder, Silent())


@pytest.mark.parametrize("last", ["step finished", "safe state"])
def test_a_run_whose_end_is_missing_is_completed(whole: Result, tmp_path: Path, last: str) -> None:
    """The disk was full once the last step was finished."""
    lines = len(events(whole.folder)) - events(whole.folder)[::-1].index(last)
    assert_completed(cut_after(whole, tmp_path / "run", lines), whole)


@pytest.mark.parametrize("missing", ["figures.csv", "trend.csv"])
def test_a_run_whose_tables_could_not_be_written_is_completed(whole: Result, tmp_path: Path, missing: str) -> None:
    folder = tmp_path / "run"
    shutil.copytree(whole.folder, folder)
    (folder / missing).rename(folder / f"{missing}.part")
    assert_completed(folder, whole)


def test_a_run_whose_bench_was_not_known_to_be_safe_is_made_safe(whole: Result, tmp_path: Path) -> None:
    folder = tmp_path / "run"
    shutil.copytree(whole.folder, folder)
    journal = folder / "journal.jsonl"
    *before, last = read_events(journal)
    write_events(journal, [*before, {**last, "safe": False, "exit_code": 5}])
    assert_completed(folder, whole)


# -- what the guardian did in between --------------------------------------------------------------------------


def guarded(folder: Path) -> Path:
    """The folder of a run that died and whose guardian could not reach the supply at first."""
    report = Report(folder / "guardian.jsonl")
    generator = Confirmation("generator", "output off", confirmed=True)
    report.acting("the run has died")
    report.acted([generator, Confirmation("supply", "output 'main' off", confirmed=False, detail="no answer")], then="")
    report.acted([generator, Confirmation("supply", "output 'main' off", confirmed=True)], then="")
    return folder


def test_what_the_guardian_did_goes_into_the_journal_before_the_run_goes_on(half_way: Path) -> None:
    journal = read_journal(half_way / "journal.jsonl")
    acted = journal.of_kind(GUARDIAN_ACTED)
    assert [(event["line"], event["did"]) for event in acted] == [(1, "acting"), (2, "unsafe"), (3, "safe")]
    assert acted[0]["reason"] == "the run has died"
    confirmed = [[part["confirmed"] for part in event["instruments"]] for event in acted[1:]]
    assert confirmed == [[True, False], [True, True]]
    assert acted[1]["instruments"][1]["detail"] == "no answer"
    assert acted[-1]["number"] < journal.of_kind("run resumed")[0]["number"]


def test_it_is_told_once_however_often_the_run_goes_on(half_way: Path, tmp_path: Path) -> None:
    folder = tmp_path / "run"
    shutil.copytree(half_way, folder)
    journal = folder / "journal.jsonl"
    lines = journal.read_text().splitlines(keepends=True)
    journal.write_text("".join(lines[: events(folder).index("run resumed") + 2]))
    Report(folder / "guardian.jsonl").acting("the run has died again")
    resume(folder, Silent())
    told = read_journal(journal).of_kind(GUARDIAN_ACTED)
    assert [event["line"] for event in told] == [1, 2, 3, 4]
    assert told[-1]["reason"] == "the run has died again"


def test_a_line_of_the_guardian_that_was_cut_off_is_told_as_it_is(whole: Result, tmp_path: Path) -> None:
    folder = cut_after(whole, tmp_path / "run", len(events(whole.folder)) // 2)
    (folder / "guardian.jsonl").write_text('{"wall": "2026-11-25T19:')
    resume(folder, Silent())
    (torn,) = read_journal(folder / "journal.jsonl").of_kind(GUARDIAN_ACTED)
    assert torn["torn"] == '{"wall": "2026-11-25T19:'


def test_a_bench_with_another_instrument_is_refused(whole: Result, tmp_path: Path) -> None:
    folder = cut_after(whole, tmp_path / "run", len(events(whole.folder)) // 2)
    journal = folder / "journal.jsonl"
    began, *rest = read_events(journal)
    began["instruments"]["supply"] = "Invented,Other supply,7,1"
    write_events(journal, [began, *rest])
    with pytest.raises(PreflightRefused, match="Other supply"):
        resume(folder, Silent())


# -- inputs that were changed in between -----------------------------------------------------------------------


@pytest.fixture
def half(whole: Result, tmp_path: Path) -> Path:
    """A run that was killed half way."""
    return cut_after(whole, tmp_path / "run", len(events(whole.folder)) // 2)


def change(folder: Path, file: str, old: str, new: str) -> None:
    path = folder / "inputs" / file
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("amplifier.yaml", "supply_current", "supply_current"[::-1]),
        ("bench.yaml", "reading: 0.5 %", "reading: 0.1 %"),
        ("sequence.yaml", "14.4 V", "16 V"),
        ("drivers/supply.yaml", "OUTP OFF", "OUTP ON"),
    ],
)
def test_a_run_does_not_go_on_with_inputs_that_were_changed(half: Path, file: str, old: str, new: str) -> None:
    path = half / "inputs" / file
    path.write_text(path.read_text().replace(old, new) + "# by hand\n")
    before = (half / "journal.jsonl").read_bytes()
    with pytest.raises(PreflightRefused, match=rf"inputs/{file} was changed after the run began: line \d+"):
        resume(half, Silent())
    with pytest.raises(PreflightRefused, match="or give the reason with --accept REASON"):
        resume(half, Silent(), accepted="  ")
    assert (half / "journal.jsonl").read_bytes() == before


def test_a_limit_that_was_raised_is_named_as_it_was_and_as_it_is(half: Path) -> None:
    change(half, "bench.yaml", "{above: 140 A, for: 500 ms}", "{above: 100000 A, for: 500 ms}")
    with pytest.raises(PreflightRefused, match=r"was '.*above: 140 A.*', is '.*above: 100000 A.*'"):
        resume(half, Silent())


def test_changed_inputs_are_accepted_with_a_reason_that_everybody_is_told(half: Path) -> None:
    change(half, "bench.yaml", "{above: 140 A, for: 500 ms}", "{above: 135 A, for: 500 ms}")
    observer = Listening()
    assert resume(half, observer, accepted="a weaker fuse").outcome.error is None
    assert any(note.startswith("accepted: inputs/bench.yaml was changed") for note in observer.notes)
    (accepted,) = read_journal(half / "journal.jsonl").of_kind(INPUTS_ACCEPTED)
    assert accepted["reason"] == "a weaker fuse"
    found = verify(half)
    assert found.agrees
    assert "135 A" in found.findings.accepted[0]
    assert found.findings.accepted[0].endswith("Reason given: a weaker fuse")
    assert any(
        "accepted" in box.title for box in boxes_of(read_run_record(half), run_outcome_of(read_run_record(half)), ())
    )


def test_a_run_goes_on_with_the_drivers_that_it_kept(tmp_path: Path) -> None:
    """The owner's own file has gone since, and nobody misses it."""
    own = tmp_path / "own"
    own.mkdir()
    bench = own / "bench.yaml"
    shipped = load_bench("workshop").instruments.supply
    assert shipped is not None
    bench.write_text(find("benches", "workshop").read_text().replace(shipped.driver, "my_supply.yaml"))
    (own / "my_supply.yaml").write_text(find("drivers", shipped.driver).read_text())
    begun = run(Documents(sequence(tmp_path), bench, "hx2150"), Silent(), out=tmp_path, dry_run=True)
    kept = {path.stem for path in (begun.folder / "inputs" / "drivers").iterdir()}
    assert kept == {"generator", "oscilloscope", "load", "supply", "thermometer"}
    shutil.rmtree(own)
    folder = cut_after(begun, tmp_path / "cut", len(events(begun.folder)) // 2)
    assert resume(folder, Silent()).outcome.exit_code == begun.outcome.exit_code


def test_a_folder_of_an_earlier_version_goes_on_and_is_said_to_be_unproven(half: Path) -> None:
    journal = half / "journal.jsonl"
    as_of_then(half)
    observer = Listening()
    assert resume(half, observer).outcome.error is None
    assert "cannot be checked: the inputs: this folder was made before inputs were hashed" in observer.notes
    assert any(note.startswith("the figures so far were computed by method 1, ") for note in observer.notes)
    assert read_journal(journal).breaks == ()
    found = verify(half)
    assert found.methods == (FIRST_METHOD, METHOD)
    assert found.agrees
    unproven = "; ".join(found.findings.unproven)
    for what in ("the journal's first", "the inputs before event", "captures: they were taken before"):
        assert what in unproven
    change(half, "bench.yaml", "140 A", "100000 A")
    assert not verify(half).agrees, "since it went on its inputs are hashed"


def as_of_then(folder: Path) -> None:
    """The folder as the version before hashes would have left it."""
    drop = {"before", "hash", "sha256", "inputs", "trend_sha256", "method"}
    told = [event for event in read_events(folder / "journal.jsonl") if event["event"] != "inputs kept"]
    told[0]["bench_folder"] = str(folder)
    lines = []
    for number, event in enumerate(told, start=1):
        lines.append(
            json.dumps({name: value for name, value in event.items() if name not in drop} | {"number": number})
        )
    (folder / "journal.jsonl").write_text("".join(line + "\n" for line in lines))
    shutil.rmtree(folder / "inputs" / "drivers")


def test_a_run_does_not_go_on_from_a_journal_that_was_changed(half: Path) -> None:
    journal = half / "journal.jsonl"
    journal.write_text(journal.read_text().replace('"voltage_v": 14.4', '"voltage_v": 16.4', 1))
    with pytest.raises(ArchiveError, match=r"journal\.jsonl:\d+: this line was changed after it was written"):
        resume(half, Silent())


# -- one writer at a time --------------------------------------------------------------------------------------


class Intruding(Silent):
    """At its first step, looks into the folder and tries to go on with the run that is going on."""

    def __init__(self) -> None:
        self.refused = ""
        self.verified: Verification | None = None
        self.run_record: RunRecord | None = None

    def started(self, checked: Preflight, run: Run) -> None:
        self.folder = run.recorder.folder.path

    def step_started(self, index: int, planned: PlannedStep) -> None:
        if self.refused:
            return
        try:
            resume(self.folder, Silent())
        except PreflightRefused as refused:
            self.refused = str(refused)
        self.verified, self.run_record = verify(self.folder), read_run_record(self.folder)


def check_intruder(observer: Intruding) -> None:
    assert "still goes on, or is being resumed" in observer.refused
    assert observer.verified is not None
    assert observer.run_record is not None
    assert (observer.verified.agrees, observer.verified.is_running) == (True, True)
    assert run_outcome_of(observer.run_record).words == "The run still goes on."


def test_a_run_that_goes_on_cannot_be_resumed_beside_it_and_can_be_looked_at(tmp_path: Path) -> None:
    observer = Intruding()
    begun = run(Documents(sequence(tmp_path), "workshop", "hx2150"), observer, out=tmp_path, dry_run=True)
    check_intruder(observer)
    assert verify(begun.folder).agrees
    assert not verify(begun.folder).is_running


def test_of_two_who_resume_a_run_the_second_is_refused(half: Path, whole: Result) -> None:
    observer = Intruding()
    assert resume(half, observer).outcome.exit_code == whole.outcome.exit_code
    check_intruder(observer)
