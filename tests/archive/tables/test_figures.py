"""figures.csv: its columns, its numbers, and what is kept of a figure."""

from __future__ import annotations

import math
from dataclasses import asdict, replace
from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.archive.compare import differences, identity, label
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import (
    FiguresEntry,
    as_stored,
    context_as_json,
    entries_of,
    last_place,
    readings_as_json,
)
from benchctl.archive.journal.journal import Journal
from benchctl.archive.tables.figures import read_figures
from benchctl.archive.tables.figures_csv import COLUMNS, EARLIER_COLUMNS, renew_figures, write_figures
from benchctl.archive.tables.run_identity import RunIdentity
from benchctl.clock import VirtualClock
from benchctl.errors import ArchiveError
from benchctl.measure.analyses.context import BurstContext
from benchctl.measure.budget.figure import Figure
from benchctl.measure.conditions import Conditions
from benchctl.measure.uncertainty import LoadResistance

finite = st.floats(allow_nan=False, allow_infinity=False, min_value=-1e12, max_value=1e12)


def entry(*figures: Figure, load_ohm: float | None = None, frequency_hz: float | None = None) -> FiguresEntry:
    return FiguresEntry(
        step="5 measure_burst",
        analysis="burst",
        captures={"clean": "captures/0002-clean.npz"},
        readings={"heatsink": [40.5, None]},
        context={},
        conditions=Conditions(load_ohm, frequency_hz),
        figures=figures,
        time_s=61.25,
    )


RUN = RunIdentity("20261124-221003-hx-2150", "HX 2150", "17-0042", simulated=False)
POWER = Figure("burst_power_clean", 151.3, "W", 1.2, 2.0, "A", 8, "", "passes", "captures/0002-clean.npz")
BOUND = Figure("thd_n", 0.0005, "1", channel="B", bound="at most")


def test_the_columns_are_the_documented_ones(folder: RunFolder) -> None:
    write_figures(folder, [], RUN)
    header = (
        "step,load_ohm,frequency_hz,burst_cycles,channel,figure,value,unit,"
        "expanded_uncertainty,coverage_factor,verdict,capture,time_s,bound,"
        "level_v,drive,supply_set_v,driven,run,amplifier,serial,simulated,contradiction,bound_reason,bursts,"
        "supply_at,thd_limit\n"
    )
    assert folder.figures.read_text("utf-8") == header


def test_a_figure_is_a_row_with_empty_cells_where_nothing_applies(folder: RunFolder) -> None:
    write_figures(folder, [entry(POWER, load_ohm=4.0, frequency_hz=1e3), entry(BOUND)], RUN)
    of_run = b"20261124-221003-hx-2150,HX 2150,17-0042,false,"
    assert folder.figures.read_bytes().split(b"\n")[1:] == [
        b"5 measure_burst,4.0,1000.0,8,A,burst_power_clean,151.3,W,1.2,2.0,passes,captures/0002-clean.npz,61.25,,,,,,"
        + of_run
        + b",,,,",
        b"5 measure_burst,,,,B,thd_n,0.0005,1,,,,,61.25,at most,,,,," + of_run + b",,,,",
        b"",
    ]


CLEAN = Conditions(4.0, 1e3, 0.8, "clean", 14.4, ("A", "B"))
FULL = replace(CLEAN, level_v=0.9, drive="full")


def test_each_figure_of_a_burst_stands_at_the_level_of_its_own_record(folder: RunFolder) -> None:
    """The heatsink, which comes from no record, stands at the last one."""
    last = replace(POWER, name="burst_power_last", capture="captures/0003-full.npz")
    heat = Figure("heatsink_temperature", 40.5, "degC")
    burst = replace(
        entry(POWER, last, heat),
        conditions=FULL,
        captured={"captures/0002-clean.npz": CLEAN, "captures/0003-full.npz": FULL},
    )
    write_figures(folder, [burst], RUN)
    table = read_figures(folder)
    assert table[["level_v", "drive", "supply_set_v", "driven"]].to_numpy().tolist() == [
        [0.8, "clean", 14.4, "A B"],
        [0.9, "full", 14.4, "A B"],
        [0.9, "full", 14.4, "A B"],
    ]


def test_tables_of_several_runs_can_be_put_together(folder: RunFolder, tmp_path: Path) -> None:
    """Without any code of ours; a run that did not keep who it was has empty cells."""
    other = RunFolder.create(tmp_path, "Idle", "KX", VirtualClock())
    write_figures(folder, [entry(POWER)], RUN)
    write_figures(other, [entry(POWER)], RunIdentity())
    both = pd.concat([pd.read_csv(each.figures) for each in (folder, other)])
    assert both["run"].fillna("").tolist() == ["20261124-221003-hx-2150", ""]
    assert both["simulated"].tolist()[0] is False
    assert both["serial"].fillna("").tolist() == ["17-0042", ""]


def test_a_table_of_an_earlier_version_is_read_as_it_is(folder: RunFolder) -> None:
    write_figures(folder, [entry(POWER)], RunIdentity())
    added = len(COLUMNS) - len(EARLIER_COLUMNS)
    short = [line.rsplit(",", added)[0] for line in folder.figures.read_text("utf-8").splitlines()]
    folder.figures.write_text("\n".join(short) + "\n", encoding="utf-8")
    assert tuple(read_figures(folder).columns) == EARLIER_COLUMNS


def test_a_step_named_in_any_letters_comes_back(folder: RunFolder) -> None:
    odd = replace(entry(POWER), step='3 "cool, then settle"\n4 Ω')
    write_figures(folder, [odd], RUN)
    assert read_figures(folder)["step"].tolist() == [odd.step]


def test_a_text_that_looks_like_a_missing_value_stays_a_text(folder: RunFolder) -> None:
    write_figures(folder, [replace(entry(POWER), step="NA")], RUN)
    assert read_figures(folder)["step"].tolist() == ["NA"]


def test_the_table_comes_back_with_every_bit(folder: RunFolder) -> None:
    values = [0.1 + 0.2, 1.0 / 3.0, 5e-324, 1.7976931348623157e308, -123456.78901234567, 2.0**53]
    write_figures(folder, [entry(*(replace(POWER, value=value) for value in values)), entry(BOUND)], RUN)
    table = read_figures(folder)
    assert tuple(table.columns) == COLUMNS
    assert table["value"].tolist() == [*values, 0.0005]
    assert table["burst_cycles"].isna().tolist() == [False] * 6 + [True]
    assert table["channel"].tolist() == ["A"] * 6 + ["B"]
    assert math.isnan(table["expanded_uncertainty"].iloc[6])


@pytest.mark.parametrize(
    "content",
    ["", "a,b\n1,2\n", ",".join(COLUMNS) + "\n" + "x," * 21 + "\n", ",".join(COLUMNS) + "\n1" * 2 + ",2" * 30],
)
def test_what_is_no_such_table_is_an_archive_error(folder: RunFolder, content: str) -> None:
    folder.figures.write_text(content, encoding="utf-8")
    with pytest.raises(ArchiveError, match="is not a table of figures"):
        read_figures(folder)


def test_the_table_is_rebuilt_from_the_journal_alone(folder: RunFolder, clock: VirtualClock) -> None:
    journal = Journal(folder.journal, clock)
    journal.append("run_started")
    journal.append("figures", **entry(POWER, load_ohm=4.0).fields())
    journal.append("figures", **entry(BOUND).fields())
    journal.close()
    assert renew_figures(folder)
    assert read_figures(folder)["figure"].tolist() == ["burst_power_clean", "thd_n"]
    assert not renew_figures(folder), "it is up to date"


@pytest.fixture
def killed(folder: RunFolder, clock: VirtualClock) -> RunFolder:
    """A run that was killed, once after its table was written."""
    journal = Journal(folder.journal, clock)
    journal.append("run_started")
    journal.append("figures", **entry(POWER, load_ohm=4.0).fields())
    journal.close()
    assert renew_figures(folder)
    journal = Journal(folder.journal, clock)
    journal.append("figures", **entry(BOUND).fields())
    journal.close()
    return folder


def test_the_table_of_an_earlier_part_is_brought_up_to_date(killed: RunFolder) -> None:
    assert len(read_figures(killed)) == 1
    assert renew_figures(killed)
    assert read_figures(killed)["figure"].tolist() == ["burst_power_clean", "thd_n"]


def test_a_table_that_the_journal_never_gave_is_left_for_verify_to_tell_of(killed: RunFolder) -> None:
    changed = killed.figures.read_bytes().replace(b"151.3", b"171.3")
    killed.figures.write_bytes(changed)
    assert not renew_figures(killed)
    assert killed.figures.read_bytes() == changed


def test_the_folder_of_a_run_that_has_ended_is_left_as_it_is(killed: RunFolder) -> None:
    killed.trend.write_text("time_s\n", encoding="utf-8")
    killed.figures.unlink()
    assert not renew_figures(killed)
    assert not killed.figures.exists()


@settings(derandomize=True, max_examples=200, deadline=None)
@given(finite, st.none() | st.floats(min_value=0.0, max_value=1e12))
def test_a_stored_figure_is_the_measured_one_to_half_a_unit_in_its_last_place(
    value: float, uncertainty: float | None
) -> None:
    figure = Figure("supply_current", value, "A", uncertainty)
    stored, place = as_stored(figure), last_place(figure)
    if place is None:
        assert stored == figure
    else:
        unit = 10.0**place
        assert abs(stored.value - value) <= 0.5000001 * unit
        assert unit <= 1.0000001e-9 * max(abs(value), uncertainty or 0.0)
    assert not list(differences("", stored, figure))


def test_a_value_that_is_only_rounding_noise_is_stored_as_nought() -> None:
    stored = as_stored(Figure("dc_offset", -3.1e-17, "V", 0.002, 2.0, "A"))
    assert repr(stored.value) == "0.0"
    assert stored.expanded_uncertainty == 0.002


def test_readings_that_are_not_finite_are_kept_as_null_and_come_back_as_nan() -> None:
    kept = readings_as_json({"heatsink": [40.5, math.nan, math.inf]})
    assert kept == {"heatsink": [40.5, None, None]}
    back = replace(entry(), readings=kept).named_readings()["heatsink"]
    assert back[0] == 40.5
    assert math.isnan(back[1])
    assert math.isnan(back[2])


def test_a_context_is_kept_as_plain_json() -> None:
    load = LoadResistance(nominal_ohm=4.0, measured_ohm=4.013, relative_uncertainty=0.002)
    context = BurstContext(frequency_hz=1e3, loads={"A": load}, cycles=8, every_s=0.5, low_level_ratio=0.1)
    kept = context_as_json(context)
    assert kept["cycles"] == 8
    assert kept["loads"]["A"]["measured_ohm"] == 4.013


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"figures": [{"name": "thd_n"}]}, r"figures\.0\.value"),
        ({"captures": None}, "captures"),
        ({"conditions": {"load_ohm": "four"}}, "load_ohm"),
    ],
)
def test_an_event_that_is_no_figures_event_is_told_by_number_and_place(change: dict[str, object], words: str) -> None:
    event = {"number": 12, "time_s": 1.0, "wall": "", "event": "figures", **entry(POWER).fields(), **change}
    with pytest.raises(ArchiveError, match=f"journal event 12 is not a figures event: .*{words}"):
        entries_of([event])


def test_a_figure_under_conditions_of_its_own_stands_under_those(folder: RunFolder) -> None:
    """A gain of a response holds at its own frequency, an output voltage at its own load."""
    gain = Figure("gain", 31.9, "1", channel="A", frequency_hz=20e3)
    voltage = Figure("output_rms", 9.96, "V", channel="A", load_ohm=2.0)
    write_figures(folder, [entry(gain, voltage, POWER, load_ohm=4.0, frequency_hz=1e3)], RUN)
    table = read_figures(folder)
    assert table["frequency_hz"].tolist() == [20e3, 1e3, 1e3]
    assert table["load_ohm"].tolist() == [4.0, 2.0, 4.0]


def test_figures_that_differ_only_in_their_conditions_are_told_apart() -> None:
    gains = [Figure("gain", 31.9, "1", channel="A", frequency_hz=frequency_hz) for frequency_hz in (20.0, 20e3)]
    assert len({identity(gain) for gain in gains}) == 2
    assert [label("7 measure_response", gain) for gain in gains] == [
        "gain of A at 20 Hz in step '7 measure_response'",
        "gain of A at 20000 Hz in step '7 measure_response'",
    ]


def test_a_folder_that_says_cannot_be_told_is_read_as_inconclusive(folder: RunFolder) -> None:
    """So it was written before the word changed."""
    judged = entry(replace(POWER, verdict="inconclusive"))
    event = {"number": 12, "time_s": 1.0, "wall": "", "event": "figures", **judged.fields()}
    figures = [{**asdict(figure), "verdict": "cannot be told"} for figure in judged.figures]
    (read_back,) = entries_of([event | {"figures": figures}])
    assert [figure.verdict for figure in read_back.figures] == ["inconclusive"]
    write_figures(folder, [judged], RUN)
    folder.figures.write_bytes(folder.figures.read_bytes().replace(b"inconclusive", b"cannot be told"))
    assert read_figures(folder)["verdict"].tolist() == ["inconclusive"]
