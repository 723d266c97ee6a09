"""What instruments contradict each other on takes the verdicts of its part of a run, and of no other."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import pandas as pd
import pytest

from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import Conditions, FiguresEntry, entries_of
from benchctl.archive.journal.journal import read_journal
from benchctl.archive.recorder import Recorder
from benchctl.archive.tables.figures import read_figures
from benchctl.archive.tables.figures_csv import renew_figures
from benchctl.archive.verify import verify
from benchctl.clock import VirtualClock
from benchctl.measure.agreement.compared import comparisons
from benchctl.measure.agreement.comparison import Comparison, Sight
from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.budget.figure import Figure
from tests.journals import read_events, write_events

IDLE = Figure("idle_current", 1.2, "A", 0.1, 2.0, verdict="passes")
HALF = Comparison(
    "supply current", "A", Sight("the supply reads", 1.2), Sight("the clamp shows", 2.4), -0.6, 0.6, "Look"
)
READINGS = {"supply_current": [1.2, -1.3]}


def measured(recorder: Recorder, *compared: Comparison) -> None:
    recorder.figures(
        "1 measure_idle",
        "idle",
        captures={},
        readings=READINGS,
        context=IdleContext(),
        conditions={},
        figures=[IDLE],
        comparisons=compared,
    )


@pytest.fixture
def recorder(folder: RunFolder, clock: VirtualClock) -> Iterator[Recorder]:
    recorder = Recorder(folder, clock)
    yield recorder
    recorder.finish()


def table(folder: RunFolder) -> pd.DataFrame:
    """figures.csv as it would be if the run ended here."""
    renew_figures(folder)
    return read_figures(folder)


def verdicts(folder: RunFolder) -> list[str]:
    return table(folder)["verdict"].tolist()


def test_a_contradiction_takes_verdicts_before_and_after_it(folder: RunFolder, recorder: Recorder) -> None:
    for compared in ((), (HALF,), ()):
        measured(recorder, *compared)
    assert verdicts(folder) == ["inconclusive"] * 3
    assert set(table(folder)["contradiction"]) == {str(HALF)}


def test_a_part_that_begins_anew_has_verdicts_of_its_own(folder: RunFolder, recorder: Recorder) -> None:
    measured(recorder, HALF)
    recorder.event("run resumed", index=0, step="1 measure_idle")
    measured(recorder)
    assert verdicts(folder) == ["inconclusive", "passes"]
    found = [figure.verdict for entry in entries_of(read_journal(folder.journal).events) for figure in entry.figures]
    assert found == ["inconclusive", "passes"]


def test_what_a_step_found_that_was_given_up_contradicts_nothing_any_more(
    folder: RunFolder, recorder: Recorder
) -> None:
    measured(recorder)
    measured(recorder, HALF)
    number = read_journal(folder.journal).of_kind("figures")[-1]["number"]
    recorder.give_up("1 measure_idle", [number], index=0)
    assert verdicts(folder) == ["passes"]


def test_a_recorder_that_goes_on_knows_what_was_contradicted(folder: RunFolder, clock: VirtualClock) -> None:
    recorder = Recorder(folder, clock)
    measured(recorder, HALF)
    recorder.finish()
    again = Recorder(folder, clock)
    measured(again)
    again.finish()
    assert verdicts(folder) == ["inconclusive", "inconclusive"]


def test_a_folder_without_comparisons_is_read_as_one_that_has_none(folder: RunFolder) -> None:
    old = FiguresEntry("1 measure_idle", "idle", {}, {}, {}, Conditions(), [IDLE])
    assert "comparisons" not in old.fields()
    event = {"number": 1, "time_s": 0.0, "wall": "", "event": "figures", **old.fields()}
    assert entries_of([event]) == [replace(old, number=1)]


def test_verify_compares_again_and_tells_what_was_changed(folder: RunFolder, clock: VirtualClock) -> None:
    """A negative current is a contradiction of its own, by the readings that the journal keeps."""
    recorder = Recorder(folder, clock)
    measured(recorder, *comparisons("idle", {}, READINGS, IdleContext()))
    recorder.finish()
    told = [str(each) for each in verify(folder.path).differences if "against each other" in str(each)]
    assert told == []
    events = read_events(folder.journal)
    events[-1]["comparisons"] = []
    write_events(folder.journal, events)
    (told,) = [str(each) for each in verify(folder.path).differences if "against each other" in str(each)]
    assert "is written as nothing, but comes out as supply current: the supply reads" in told
