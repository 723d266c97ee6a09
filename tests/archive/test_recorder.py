"""What a run hands to its recorder is on the disk, and can be gone on with."""

from __future__ import annotations

import json
import math
import shutil
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import pytest

from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.journal import read_journal
from benchctl.archive.recorder import Recorder
from benchctl.archive.tables.figures import read_figures
from benchctl.archive.tables.figures_csv import renew_figures
from benchctl.archive.tables.trend import read_trend
from benchctl.clock import VirtualClock
from benchctl.errors import ArchiveError
from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.budget.figure import Figure
from benchctl.measure.conditions import Conditions
from benchctl.measure.signal.record import Capture
from benchctl.measure.uncertainty import Accuracy

CONTEXT = IdleContext(readings_accuracy={"supply_current": (Accuracy(reading=0.003, fixed=0.06),)})
CURRENT = Figure("idle_current", 1.2, "A", 0.07, 2.0, verdict="passes")


@pytest.fixture
def recorder(folder: RunFolder, clock: VirtualClock) -> Iterator[Recorder]:
    recorder = Recorder(folder, clock)
    yield recorder
    with suppress(ArchiveError):  # a test may have taken the folder or the files away
        recorder.finish()


def record(recorder: Recorder, *figures: Figure, step: str = "2 measure_idle", **captures: str) -> None:
    recorder.figures(
        step,
        "idle",
        captures=captures,
        readings={"supply_current": [1.2, math.nan]},
        context=CONTEXT,
        conditions=Conditions(load_ohm=4.0, drive="undriven", supply_set_v=14.4),
        figures=figures,
    )


def test_a_capture_is_stored_and_told_in_the_journal(recorder: Recorder, folder: RunFolder, tone: Capture) -> None:
    file = recorder.capture(tone)
    assert (folder.path / file).is_file()
    event = read_journal(folder.journal).events[-1]
    assert (event["event"], event["file"], event["samples"]) == ("capture", file, 2000)
    assert event["signals"] == ["output A", "output B"]


def test_captures_of_one_name_get_a_number_each(recorder: Recorder, tone: Capture) -> None:
    assert [recorder.keep(tone).name for _ in range(2)] == [
        "captures/0001-idle-channel-a-b.npz",
        "captures/0002-idle-channel-a-b.npz",
    ]


def test_a_figures_event_holds_all_that_computes_them_again(
    recorder: Recorder, folder: RunFolder, tone: Capture
) -> None:
    file = recorder.capture(tone)
    record(recorder, CURRENT, replace(CURRENT, name="dc_offset", capture=file), idle=file)
    event = read_journal(folder.journal).of_kind("figures")[0]
    assert event["analysis"] == "idle"
    assert event["captures"] == {"idle": file}
    assert event["readings"] == {"supply_current": [1.2, None]}
    assert event["context"]["readings_accuracy"]["supply_current"][0]["fixed"] == 0.06
    assert (event["conditions"]["load_ohm"], event["conditions"]["drive"]) == (4.0, "undriven")
    assert [figure["name"] for figure in event["figures"]] == ["idle_current", "dc_offset"]


def test_figures_csv_is_written_once_at_the_end(recorder: Recorder, folder: RunFolder) -> None:
    record(recorder, CURRENT)
    record(recorder, CURRENT, CURRENT)
    assert not folder.figures.exists()
    recorder.finish()
    assert len(read_figures(folder)) == 3


def test_a_kill_loses_no_row_of_figures_csv(recorder: Recorder, folder: RunFolder) -> None:
    record(recorder, CURRENT)
    record(recorder, CURRENT, CURRENT)
    assert renew_figures(folder)
    renewed = folder.figures.read_bytes()
    recorder.finish()
    assert folder.figures.read_bytes() == renewed


def test_the_figures_so_far_are_at_hand_as_they_are_stored(recorder: Recorder) -> None:
    record(recorder, replace(CURRENT, value=1.0 / 3.0))
    assert [entry.step for entry in recorder.measured] == ["2 measure_idle"]
    assert recorder.measured[0].figures[0].value == 0.3333333333


def test_a_figure_that_names_a_capture_by_anything_but_its_file_is_refused(recorder: Recorder, tone: Capture) -> None:
    file = recorder.capture(tone)
    with pytest.raises(ValueError, match="names the capture full, not a file of its analysis"):
        record(recorder, replace(CURRENT, capture="full"), idle=file)
    assert recorder.measured == ()


def test_a_context_that_holds_no_finite_number_is_refused(recorder: Recorder) -> None:
    with pytest.raises(ArchiveError, match="not finite"):
        recorder.figures(
            "2 measure_idle",
            "idle",
            captures={},
            readings={},
            context=IdleContext(readings_accuracy={"heatsink": (Accuracy(fixed=math.nan),)}),
            conditions=Conditions(),
            figures=[CURRENT],
        )


def test_a_finished_run_has_all_of_its_files_and_no_pieces(recorder: Recorder, folder: RunFolder) -> None:
    recorder.event("run_started")
    recorder.trend(0.0, {"supply_voltage": 14.4})
    recorder.finish()
    recorder.finish()
    names = sorted(path.name for path in folder.path.iterdir())
    assert names == ["captures", "figures.csv", "inputs", "journal.jsonl", "trend.csv"]


def test_a_resumed_run_leaves_one_folder_with_all_of_it(
    recorder: Recorder, folder: RunFolder, clock: VirtualClock, tone: Capture
) -> None:
    """The first recorder is left as a kill leaves it: nothing finished, the journal's last line torn."""
    record(recorder, replace(CURRENT, capture=recorder.capture(tone)), idle="captures/0001-idle-channel-a-b.npz")
    recorder.trend(0.0, {"supply_voltage": 14.4})
    with folder.journal.open("ab") as journal:
        journal.write(b'{"number": 3, "time')

    resumed = Recorder(folder, clock)
    resumed.event("resumed")
    assert resumed.keep(tone).name == "captures/0002-idle-channel-a-b.npz"
    record(resumed, CURRENT, step="3 measure_idle")
    resumed.trend(9.0, {"supply_voltage": 14.4})
    resumed.finish()

    events = [event["event"] for event in read_journal(folder.journal).events]
    assert events == ["capture", "figures", "torn_line", "resumed", "capture", "figures"]
    assert read_figures(folder)["step"].tolist() == ["2 measure_idle", "3 measure_idle"]
    assert read_trend(folder)["time_s"].tolist() == [0.0, 9.0]


def test_two_runs_of_the_same_give_the_same_bytes(tmp_path: Path, tone: Capture) -> None:
    def run(root: Path) -> dict[str, bytes]:
        folder = RunFolder.create(root, "Idle", "HX", VirtualClock())
        recorder = Recorder(folder, VirtualClock())
        record(recorder, replace(CURRENT, capture=recorder.capture(tone)), idle="captures/0001-idle-channel-a-b.npz")
        recorder.trend(0.0, {"supply_voltage": 1.0 / 3.0})
        recorder.finish()
        return {path.name: path.read_bytes() for path in folder.path.rglob("*") if path.is_file()}

    assert run(tmp_path / "1") == run(tmp_path / "2")


def test_a_folder_deleted_under_the_run_is_an_archive_error_for_each_kind_of_result(
    recorder: Recorder, folder: RunFolder, tone: Capture
) -> None:
    recorder.event("run_started")
    shutil.rmtree(folder.path)
    with pytest.raises(ArchiveError, match="is gone"):
        recorder.event("step_started")
    with pytest.raises(ArchiveError, match="is gone"):
        recorder.capture(tone)
    with pytest.raises(ArchiveError, match="is gone"):
        recorder.trend(0.0, {})
    with pytest.raises(ArchiveError, match="is gone"):
        recorder.finish()


def test_a_run_does_not_go_on_in_a_folder_whose_journal_is_broken(folder: RunFolder, clock: VirtualClock) -> None:
    event = {"number": 1, "time_s": 0.0, "wall": "", "event": "a"}
    folder.journal.write_text("broken\n" + json.dumps(event) + "\n")
    with pytest.raises(ArchiveError, match=r"journal\.jsonl:1"):
        Recorder(folder, clock)


# -- what a person said --------------------------------------------------------------------------------------------


def test_positions_are_kept_in_the_journal_and_known_to_whoever_goes_on(
    recorder: Recorder, folder: RunFolder, clock: VirtualClock
) -> None:
    """What was said last counts; a run that is gone on with need not ask again."""
    recorder.hands("Turn the gains up", {"gain A": "half past two", "gain B": "three"})
    recorder.hands("Turn gain B back", {"gain B": "half past two"})
    recorder.finish()
    kept = read_journal(folder.journal).of_kind("hands")
    assert [event["answers"] for event in kept] == [
        {"gain A": "half past two", "gain B": "three"},
        {"gain B": "half past two"},
    ]
    going_on = Recorder(folder, clock)
    assert going_on.positions == {"gain A": "half past two", "gain B": "half past two"}
    going_on.finish()
