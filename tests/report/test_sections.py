"""What else a page tells: limits and trips, protection, controls, the course of the run, with what it was measured."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from benchctl.archive.journal.entries import FiguresEntry
from benchctl.measure.budget.figure import Figure
from benchctl.measure.conditions import Conditions, Drive
from benchctl.measure.method import METHOD
from benchctl.report.reading.run_record import RunRecord, read_run_record
from benchctl.report.sections.equipment import equipment_tables
from benchctl.report.sections.event_tables import events_table, steps_table
from benchctl.report.sections.methods import methods_of
from benchctl.report.sections.page_head import date_of, versions_of
from benchctl.report.sections.rated_power import power_rows, power_tables
from benchctl.report.sections.tables import Table
from benchctl.report.sections.watched import controls_table, limits_table, protection_table, trips_table
from tests.report.conftest import changed, killed, real, rewrite


def texts(table: Table | None) -> list[list[str]]:
    assert table is not None
    return [[cell.text for cell in row] for row in table.rows]


@pytest.fixture(scope="module")
def run_record(whole: Path) -> RunRecord:
    return read_run_record(whole)


# -- watched -------------------------------------------------------------------------------------------------------


def test_every_limit_stands_with_who_set_it_and_the_extremes_that_were_read(run_record: RunRecord) -> None:
    """The sequence's own, those of workshop.yaml, and the heatsink's of hx2150.yaml."""
    rows = texts(limits_table(run_record))
    assert [row[:3] for row in rows] == [
        ["supply current", "above 95 A for 200 ms", "sequence file"],
        ["supply current", "above 110 A for 500 ms", "bench file"],
        ["load", "above 180 °C", "bench file"],
        ["heatsink", "above 85 °C", "amplifier file"],
        ["supply protection", "none may trip", "bench file"],
    ]
    assert run_record.trend is not None
    highest_a = float(rows[0][4].removesuffix(" A"))
    assert highest_a == pytest.approx(run_record.trend["supply_current_a"].max(), rel=1e-3)


def test_a_trip_is_told_with_limit_value_and_time(folder: Path) -> None:
    trip = {"time_s": 7.2, "wall": "2026-01-01T08:00:07.200+00:00", "event": "trip"}
    said = {"limit": "supply_current", "value": 97.3, "unit": "A", "at_s": 67.0, "reason": "supply_current is 97.3 A"}
    tripped = read_run_record(rewrite(folder, lambda events: [*events, trip | said]))
    assert texts(trips_table(tripped)) == [["0:01:07", "supply current", "97.3 A", "supply_current is 97.3 A"]]
    assert [row[-1] for row in texts(limits_table(tripped))] == ["tripped", "tripped", "no", "no", "no"]


def test_a_limit_that_could_not_be_read_is_told_so(folder: Path) -> None:
    trip = {"time_s": 7.2, "wall": "2026-01-01T08:00:07.200+00:00", "event": "trip", "limit": "heatsink"}
    tripped = read_run_record(rewrite(folder, lambda events: [*events, trip | {"value": None, "unit": "degC"}]))
    assert texts(trips_table(tripped)) == [["0:00:07", "heatsink", "could not be read", ""]]


def test_when_the_amplifier_protected_itself_is_told_with_what_it_bore(run_record: RunRecord) -> None:
    power = Figure("protection_power", 81.0, "W", 1.6, 2.0, channel="A")
    heat = Figure("protection_temperature", 94.0, "degC", 1.2, 2.0)
    entry = FiguresEntry("9 soak", "protection", {}, {}, {}, Conditions(), [power, heat], time_s=3723.0)
    (row,) = texts(protection_table(replace(run_record, entries=(entry,))))
    assert row == ["1:02:03", "9 soak", "fell silent by itself", "power A 81.0 ± 1.6 W; temperature 94.0 ± 1.2 °C"]
    assert protection_table(run_record) is None


def test_positions_of_controls_that_a_prompt_recorded_are_told(folder: Path) -> None:
    told = read_run_record(changed(folder, "hands", answers={"gain controls": "both at 12 o'clock"}))
    assert texts(controls_table(told)) == [["0:00:00", "Set the controls", "gain controls", "both at 12 o'clock"]]


# -- the course ----------------------------------------------------------------------------------------------------


def test_every_step_is_told_with_how_many_figures_it_gave(run_record: RunRecord) -> None:
    rows = texts(steps_table(run_record))
    assert [row[1] for row in rows][:3] == ["1 prompt", "2 power_on", "3 measure_idle"]
    told = {row[1]: row[4] for row in rows}
    assert (
        told["3 measure_idle"]
        == f"{sum(len(e.figures) for e in run_record.entries if e.step == '3 measure_idle')} figures"
    )
    assert told["9 power_off"] == ""


def test_a_step_that_a_kill_cut_off_is_told(folder: Path) -> None:
    rows = texts(steps_table(read_run_record(killed(folder))))
    assert rows[-1][1:5] == ["5 measure_burst", "0:00:07", "", "its end is not in the journal"]
    assert rows[-1][5] == "4 ohm, 1 kHz, 14.4 V supply", "as the steps before it had set the bench"


def test_a_step_that_was_left_out_is_told_with_the_reason(folder: Path) -> None:
    rows = texts(steps_table(read_run_record(changed(folder, "step finished", left_out="idle_current is 3 A"))))
    assert {row[4] for row in rows} == {"left out: idle_current is 3 A"}


def test_of_very_many_events_the_first_are_told_and_the_others_counted(folder: Path) -> None:
    note = {"time_s": 1.0, "wall": "2026-01-01T08:00:01.000+00:00", "event": "note", "text": "tick"}
    table = events_table(read_run_record(rewrite(folder, lambda events: [*events, *[note] * 500])))
    assert table is not None
    assert len(table.rows) == 200
    assert "journal.jsonl has" in table.note


# -- with what -----------------------------------------------------------------------------------------------------


def test_every_instrument_stands_with_identity_calibration_and_limits_of_error(run_record: RunRecord) -> None:
    """From workshop.yaml."""
    instruments, probes, resistors = (texts(table) for table in equipment_tables(run_record))
    supply = next(row for row in instruments if row[0] == "supply")
    assert supply[1:] == [
        "benchctl,Dc supply,SIM2150,1.0",
        "supply/scpi99_watchdog",
        "2026-03-02",
        "voltage: ±0.05 % of the reading, ±10 mV; current: ±0.3 % of the reading, ±60 mA",
    ]
    assert ["output A", "channel 1", "differential, 20:1", "±0.5 %"] in probes
    assert ["2 ohm, channel B", "2.004 ohm", "±0.2 %", "60 ppm/K", "1 kW"] in resistors


def test_without_a_bench_file_who_the_instruments_were_is_told_all_the_same(run_record: RunRecord) -> None:
    (table,) = equipment_tables(replace(run_record, bench=None))
    assert ["supply", "benchctl,Dc supply,SIM2150,1.0"] in texts(table)


def test_methods_name_the_standards_of_what_was_measured_and_of_nothing_else(run_record: RunRecord) -> None:
    methods = " ".join(methods_of(run_record))
    assert all(named in methods for named in ("IEEE Std 1057", "AES17", "ISO 266"))
    assert "61672" not in methods, "no noise was measured"
    assert methods.count("Power: true RMS over whole cycles, squared") <= 2


def test_versions_and_the_seed_of_a_simulation_are_told(whole: Path, folder: Path) -> None:
    told = dict(versions_of(read_run_record(whole)))
    assert {"python", "benchctl", "numpy"} <= set(told)
    assert told["seed of the simulation"] == "2150"
    assert told["method of computing figures"] == str(METHOD)
    assert "seed of the simulation" not in dict(versions_of(read_run_record(real(folder))))


def test_the_date_is_that_of_the_folder_or_else_of_the_journal(folder: Path) -> None:
    stamp = folder.name
    expected = f"{stamp[:4]}-{stamp[4:6]}-{stamp[6:8]} {stamp[9:11]}:{stamp[11:13]} UTC"
    assert date_of(read_run_record(folder)) == expected
    renamed = folder.rename(folder.with_name("hx2150"))
    assert date_of(read_run_record(renamed)) == "not known", "of a dry run's journal the day is not a day"
    assert date_of(read_run_record(real(renamed))) == "2026-01-01 08:00 UTC"


# -- power ---------------------------------------------------------------------------------------------------------


def powers(run_record: RunRecord) -> list[Table]:
    return power_tables(power_rows(run_record.entries, run_record.amplifier), run_record.usual)


def test_clean_power_stands_against_the_rating_by_length_of_burst(run_record: RunRecord) -> None:
    (table,) = powers(run_record)
    assert [head.text for head in table.heads] == ["load", "channel", "rated, W", "1 cycle", "6 cycles", "continuous"]
    assert [row[:3] for row in texts(table)] == [["4 ohm", "A", "150"], ["4 ohm", "B", "150"], ["4 ohm", "total", ""]]
    assert table.caption == "Clean output power, W: 1 kHz, 14.4 V supply, 1 % THD+N"
    for row in table.rows[:2]:
        for cell in row[3:]:
            assert cell.note.startswith(f"{float(cell.exact) / 150.0:.0%}".replace("%", " %"))


def tone(drive: Drive, level_v: float | None = 0.5) -> FiguresEntry:
    power = Figure("continuous_power", 60.0, "W", 1.0, 2.0, channel="A")
    conditions = Conditions(4.0, 1000.0, level_v, drive, 14.4, ("A", "B"))
    return FiguresEntry("3 measure_continuous", "continuous", {}, {}, {}, conditions, [power], number=4)


@pytest.mark.parametrize(
    ("drive", "title"),
    [
        ("clean", "Clean output power, W"),
        ("set", "Output power at set levels, W"),
        ("", "Output power, W; how its level was found is not on record"),
    ],
)
def test_only_power_at_a_level_that_was_searched_clean_is_called_so_and_held_to_the_rating(
    run_record: RunRecord, drive: Drive, title: str
) -> None:
    (table,) = powers(replace(run_record, entries=(tone(drive),)))
    assert table.caption.startswith(f"{title}: ")
    assert ("rated, W" in [head.text for head in table.heads]) is (drive == "clean")


def test_power_at_each_set_level_has_a_row_that_says_the_level(run_record: RunRecord) -> None:
    (table,) = powers(replace(run_record, entries=(tone("set", 0.1), tone("set", 0.2))))
    assert [row[:3] for row in texts(table)] == [["4 ohm", "100 mV", "A"], ["4 ohm", "200 mV", "A"]]


def test_the_same_power_measured_again_has_a_row_of_its_own(run_record: RunRecord) -> None:
    twice = power_rows([*run_record.entries, *run_record.entries], run_record.amplifier)
    assert [row.turn for row in twice if row.channel == "A"] == [1, 2]
