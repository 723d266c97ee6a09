"""verify computes every figure again: a sound folder agrees, and whatever was changed is told."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from benchctl.archive.captures import encode_capture, load_capture
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.chain import FIELDS
from benchctl.archive.recorder import Recorder
from benchctl.archive.verify import verify
from benchctl.clock import VirtualClock
from benchctl.errors import ArchiveError, UsageError
from benchctl.measure.method import FIRST_METHOD, METHOD
from benchctl.measure.signal.record import Capture, Trace
from tests.archive.made_runs import IDLE, TONE, change_figure, change_journal, made_by, measure_tone
from tests.journals import read_events


@pytest.fixture
def run(folder: RunFolder, clock: VirtualClock, tone: Capture) -> Path:
    """A finished run: idle and continuous power, with a capture each."""
    return measure_tone(folder, clock, tone)


def stored_power(run: Path) -> float:
    from benchctl.archive.tables.figures import read_figures

    table = read_figures(RunFolder.open(run))
    return float(table[table["figure"] == "continuous_power"]["value"].iloc[0])


def test_a_sound_run_agrees_in_every_figure(run: Path) -> None:
    verification = verify(run)
    assert verification.agrees
    assert verification.checked > 15
    assert (verification.differences, verification.figures_without_capture) == ((), ())
    assert (verification.unused_captures, verification.torn) == ((), None)


def test_a_run_folder_can_be_verified_wherever_it_was_copied(run: Path, tmp_path: Path) -> None:
    assert verify(shutil.copytree(run, tmp_path / "elsewhere")).agrees


def test_a_value_one_unit_off_in_its_last_place_agrees(run: Path) -> None:
    """12.46 W or so with ten digits: the last place is 1e-8 W."""
    value = stored_power(run)
    assert 10.0 < value < 100.0
    change_figure(run, "continuous_power", value=value + 0.4e-8)
    assert verify(run).agrees


def test_a_value_two_units_off_in_its_last_place_is_told(run: Path) -> None:
    value = stored_power(run)
    change_figure(run, "continuous_power", value=value + 2e-8)
    (difference,) = verify(run).differences
    assert str(difference).startswith("continuous_power of A in step '1 measure_continuous': value is written as ")
    assert float(difference.written) == value + 2e-8
    assert float(difference.outcome.removeprefix("comes out as ")) == pytest.approx(value, abs=0.5e-8)


@pytest.mark.parametrize(
    ("fields", "what"),
    [
        ({"expanded_uncertainty": 0.01}, "expanded_uncertainty"),
        ({"coverage_factor": 3.0}, "coverage_factor"),
        ({"unit": "V"}, "unit"),
        ({"bound": "at most"}, "bound"),
        ({"capture": IDLE}, "capture"),
    ],
)
def test_whatever_else_of_a_figure_was_changed_is_told(run: Path, fields: dict[str, object], what: str) -> None:
    change_figure(run, "continuous_power", **fields)
    assert [difference.what for difference in verify(run).differences] == [what]


@pytest.mark.parametrize("method", [None, METHOD - 1, METHOD + 1])
def test_figures_that_another_method_computed_differ_without_having_been_altered(run: Path, method: int | None) -> None:
    made_by(run, method, value=99.0)
    verification = verify(run)
    assert verification.agrees
    assert verification.differences == ()
    assert [difference.written for difference in verification.of_method] == ["99.0", "99.0"]
    assert verification.methods == (FIRST_METHOD if method is None else method,)


def test_a_capture_put_in_anothers_place_is_found_whatever_the_method(run: Path) -> None:
    made_by(run, FIRST_METHOD)
    (run / TONE).write_bytes(encode_capture(replace(load_capture(run / TONE), interval_s=2e-5)))
    assert verify(run).findings.changed == (f"{TONE} is not the file that the run wrote",)


def test_a_line_changed_after_the_run_is_found_whatever_the_method(run: Path) -> None:
    made_by(run, FIRST_METHOD)
    journal = (run / "journal.jsonl").read_bytes()
    (run / "journal.jsonl").write_bytes(journal.replace(b'"unit": "W"', b'"unit": "V"', 1))
    verification = verify(run)
    assert not verification.agrees
    assert verification.findings.changed


def test_without_hashes_nothing_tells_another_method_from_an_altered_figure(run: Path) -> None:
    made_by(run, FIRST_METHOD, value=99.0)
    bare = [{k: v for k, v in event.items() if k not in FIELDS} for event in read_events(run / "journal.jsonl")]
    (run / "journal.jsonl").write_text("".join(json.dumps(event) + "\n" for event in bare), encoding="utf-8")
    verification = verify(run)
    assert not verification.agrees
    assert verification.of_method == ()
    assert len(verification.differences) == 2


def test_a_verdict_is_the_steps_own_and_is_not_computed_again(run: Path) -> None:
    change_figure(run, "continuous_power", verdict="passes")
    assert verify(run).agrees


def test_a_figure_that_does_not_come_out_is_told(run: Path) -> None:
    change_figure(run, "continuous_power", name="burst_power_first")
    outcomes = {difference.figure.split()[0]: difference.outcome for difference in verify(run).differences}
    assert outcomes["burst_power_first"] == "cannot be computed: the analysis gives no such figure"
    assert outcomes["continuous_power"].startswith("comes out as ")


def test_a_reading_that_was_changed_is_told(run: Path) -> None:
    change_journal(run, lambda event: event["readings"].update(supply_current=[0.5]), event=0)
    assert {difference.figure.split()[0] for difference in verify(run).differences} == {"idle_current", "idle_power"}


def test_a_table_that_was_changed_is_told_by_line_and_column(run: Path) -> None:
    lines = (run / "figures.csv").read_text("utf-8").splitlines(keepends=True)
    lines[1] = lines[1].replace(",A,", ",mA,")
    (run / "figures.csv").write_text("".join(lines), encoding="utf-8")
    assert [str(difference) for difference in verify(run).differences] == [
        "figures.csv:2: unit is written as 'mA', but the journal gives 'A'"
    ]


def test_a_number_changed_in_the_table_alone_is_told(run: Path) -> None:
    table = (run / "figures.csv").read_text("utf-8")
    (run / "figures.csv").write_text(table.replace(",14.405,", ",14.5,", 1), encoding="utf-8")
    (difference,) = verify(run).differences
    assert (difference.what, difference.written, difference.outcome) == (
        "value",
        "'14.5'",
        "the journal gives '14.405'",
    )


def test_rows_missing_from_the_table_are_told(run: Path) -> None:
    lines = (run / "figures.csv").read_text("utf-8").splitlines(keepends=True)
    (run / "figures.csv").write_text("".join(lines[:-1]), encoding="utf-8")
    (difference,) = verify(run).differences
    assert difference.written == f"{len(lines) - 2} rows"


def test_a_table_that_is_not_there_is_told(run: Path) -> None:
    (run / "figures.csv").unlink()
    assert not verify(run).agrees


def test_a_capture_whose_codes_were_changed_is_told_by_its_figures(run: Path) -> None:
    capture = load_capture(run / TONE)
    louder = {
        name: Trace(trace.codes + 1, trace.scale * 1.001, trace.offset, "V", -2048, 2047)
        for name, trace in capture.traces.items()
    }
    (run / TONE).write_bytes(encode_capture(replace(capture, traces=louder)))
    differences = verify(run).differences
    assert {"continuous_power", "output_peak"} <= {difference.figure.split()[0] for difference in differences}
    assert all("measure_continuous" in difference.figure for difference in differences)


def test_figures_whose_capture_is_gone_are_listed_and_the_others_still_checked(run: Path) -> None:
    (run / IDLE).unlink()
    verification = verify(run)
    assert verification.differences == ()
    assert verification.figures_without_capture == (
        f"dc_offset of A in step '1 measure_idle': {IDLE} is not there",
        f"dc_offset of B in step '1 measure_idle': {IDLE} is not there",
    )
    assert not verification.agrees


def test_a_figure_that_needs_a_capture_and_names_none_is_listed(run: Path) -> None:
    change_figure(run, "continuous_power", capture="")
    (orphan,) = verify(run).figures_without_capture
    assert orphan.endswith(f"it names no capture, and comes from {TONE}")


def test_figures_of_a_broken_capture_cannot_be_computed_and_the_others_still_are(run: Path) -> None:
    (run / IDLE).write_bytes((run / IDLE).read_bytes()[:-30])
    differences = verify(run).differences
    assert [difference.figure.split()[0] for difference in differences] == ["dc_offset", "dc_offset"]
    assert all(f"{Path(IDLE).name} is not a whole capture" in difference.outcome for difference in differences)


def test_captures_that_no_figure_uses_are_listed_and_are_no_fault(run: Path) -> None:
    shutil.copy(run / IDLE, run / "captures/0009-find-clean-level.npz")
    verification = verify(run)
    assert verification.unused_captures == ("captures/0009-find-clean-level.npz",)
    assert verification.agrees


def test_a_torn_last_line_is_told_and_the_whole_events_are_checked(run: Path) -> None:
    with (run / "journal.jsonl").open("ab") as journal:
        journal.write(b'{"number": 5, "ti')
    verification = verify(run)
    assert verification.torn == '{"number": 5, "ti'
    assert verification.agrees


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"analysis": "magic"}, "this version knows no analysis 'magic'"),
        ({"context": {"frequency_hz": "often"}}, "validation error"),
        ({"context": {"frequency_hz": 0.0, "loads": {}}}, ""),
    ],
)
def test_an_event_that_cannot_be_computed_is_told_for_each_of_its_figures(
    run: Path, change: dict[str, Any], reason: str
) -> None:
    change_journal(run, lambda event: event.update(change))
    verification = verify(run)
    differences = [difference for difference in verification.differences if "measure_continuous" in difference.figure]
    assert len(differences) == len(verification.differences) > 8
    assert all(f"cannot be computed: {reason}"[:20] in difference.outcome for difference in differences)
    assert all(reason in difference.outcome for difference in differences)


def test_a_journal_cannot_make_verify_read_a_file_elsewhere(run: Path, tmp_path: Path) -> None:
    shutil.copy(run / TONE, tmp_path / "elsewhere.npz")
    change_journal(run, lambda event: event["captures"].update(continuous="../../elsewhere.npz"))
    change_figure(run, "continuous_power", capture="../../elsewhere.npz")
    assert any("leads out of the run folder" in difference.outcome for difference in verify(run).differences)


def test_a_run_that_ended_before_its_first_figure_agrees(folder: RunFolder, clock: VirtualClock) -> None:
    recorder = Recorder(folder, clock)
    recorder.event("run_started")
    assert verify(folder.path).agrees
    recorder.finish()
    assert verify(folder.path).agrees
    assert verify(folder.path).checked == 0


def test_what_is_no_run_folder_is_a_usage_error_and_a_broken_journal_an_archive_error(
    run: Path, tmp_path: Path
) -> None:
    with pytest.raises(UsageError, match="is not a run folder"):
        verify(tmp_path)
    journal = run / "journal.jsonl"
    journal.write_bytes(journal.read_bytes().replace(b'{"number": 2', b'{"number" 2'))
    with pytest.raises(ArchiveError, match=r"journal\.jsonl:2"):
        verify(run)
