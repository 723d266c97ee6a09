"""What one run folder tells of its bench, and what it never tells."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path

import pytest

from benchctl.archive.collection.summary import summary_of
from benchctl.archive.drift.reading import OfRun, read_run
from benchmarks.bench_lives.__main__ import drawn_alarms
from tests.journals import read_events, write_events
from tests.lives import as_real, months_of, with_clamp
from tests.shared_runs import SharedRuns

DAY = datetime(2026, 3, 9, 10, tzinfo=UTC)


@pytest.fixture
def folder(shared_runs: SharedRuns, tmp_path: Path) -> Path:
    months_of(shared_runs.of("quick_check", "hx2150").folder, tmp_path, [DAY], lambda events, _: as_real(events))
    return next(tmp_path.iterdir())


def values(read: OfRun, begins: str) -> Mapping[str, float]:
    return {
        each.given.reference.what: each.given.value
        for each in read.values
        if each.given.reference.what.startswith(begins)
    }


def test_the_clamp_is_held_against_the_supply_where_both_are_most_certain(folder: Path) -> None:
    (ratio,) = values(read_run(summary_of(folder)), "supply current").values()
    events = read_events(folder / "journal.jsonl")
    tone = next(event for event in events if event.get("analysis") == "continuous")
    by_hand = next(
        each["second"]["value"] / each["first"]["value"]
        for each in tone["comparisons"]
        if each["second"]["who"] == "the clamp shows"
    )
    assert ratio == pytest.approx(by_hand)  # of the tone at full power, and not of the idle current
    with_clamp(events, 1.008)
    write_events(folder / "journal.jsonl", events)
    assert values(read_run(summary_of(folder)), "supply current") == pytest.approx(
        {"supply current, clamp over supply's reading": 1.008 * ratio}
    )


def test_a_value_knows_its_day_its_instruments_and_their_calibrations(folder: Path) -> None:
    first = read_run(summary_of(folder)).values[0]
    assert first.began == DAY
    assert first.given.reference.of == "oscilloscope: oscilloscope, serial H-2; supply: supply, serial H-4"
    assert "oscilloscope calibrated 2026-03-02" in first.given.phase
    assert "current clamp 10 mV/A on channel 3" in first.given.phase


def test_another_firmware_is_the_same_instrument(folder: Path) -> None:
    before = read_run(summary_of(folder)).values[0].given.reference
    events = read_events(folder / "journal.jsonl")
    events[0]["instruments"]["oscilloscope"] = events[0]["instruments"]["oscilloscope"].replace(",2.1", ",2.2")
    write_events(folder / "journal.jsonl", events)
    assert read_run(summary_of(folder)).values[0].given.reference == before


def test_zeros_are_told_by_input_and_range(folder: Path) -> None:
    zeros = values(read_run(summary_of(folder)), "zero of ")
    assert len(zeros) > 20
    assert any(what.startswith("zero of supply current on the range of ±") for what in zeros)


def test_a_check_standard_gives_its_figures_and_bounds_never_count(folder: Path) -> None:
    events = read_events(folder / "journal.jsonl")
    events[0]["serial"] = "17-0042"
    bounded = next(f for event in events for f in event.get("figures", ()) if f["name"] == "idle_current")
    bounded["bound"] = "at most"
    write_events(folder / "journal.jsonl", events)
    summary = summary_of(folder)
    assert values(read_run(summary, "17-0042"), "continuous power of A")
    assert not values(read_run(summary, "17-0042"), "idle current")
    (draw,) = values(read_run(summary, "17-0042"), "load of A, draw of relay 103 over relay 101").values()
    assert draw == pytest.approx(1.0, abs=0.1)  # 2 ohm draws twice what 4 ohm does, less what the amplifier loses
    assert not values(read_run(summary, "17-0043"), "continuous power")
    assert not values(read_run(summary), "continuous power")


def test_a_folder_that_cannot_be_read_says_why(folder: Path) -> None:
    summary = summary_of(folder)
    (folder / "inputs" / "bench.yaml").write_text("benchctl: bench 1\ntitle: [\n", encoding="utf-8")
    told = read_run(summary)
    assert told.values == ()
    assert "bench.yaml" in told.why_not


def test_load_resistors_come_with_the_day_of_their_calibration(folder: Path) -> None:
    (four,) = [each for each in read_run(summary_of(folder)).calibrated if each.what == "load of 4 ohm at output A"]
    assert (four.date, four.value, four.relative_uncertainty) == (
        "2026-01-15",
        4.013,
        0.002,
    )  # as the bench file has it


def test_a_calibration_that_was_overdue_on_the_day_of_the_run_is_told(folder: Path) -> None:
    assert read_run(summary_of(folder)).overdue == ()
    bench = folder / "inputs" / "bench.yaml"
    due = bench.read_text("utf-8").replace(
        "calibrated: 2026-01-15", "calibrated: 2026-01-15\n    calibration_due: 2026-03-09"
    )
    bench.write_text(due, encoding="utf-8")
    assert read_run(summary_of(folder)).overdue == ("load, due on 2026-03-09",)


def test_a_run_gives_one_value_of_each_reference(folder: Path) -> None:
    references = [each.given.reference for each in read_run(summary_of(folder)).values]
    assert len(references) == len(set(references))


def test_of_whole_sound_benches_hardly_one_raises_an_alarm(folder: Path) -> None:
    """24 runs of every zero and gain of a bench that scatter by up to a quarter of what is stated: at most 5 % are
    promised. `python -m benchmarks.bench_lives` draws more of them."""
    like = read_run(summary_of(folder)).values
    assert sum(alarm for alarm, _ in (drawn_alarms(like, seed) for seed in range(60))) <= 3
