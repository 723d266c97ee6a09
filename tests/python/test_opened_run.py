"""Run folders opened from Python: the numbers of the folder, in frames and arrays; damage is told and stops nothing."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import benchctl
from benchctl.errors import UsageError
from tests import saloon_deck
from tests.saloon_deck import SaloonDeck, figures_in_journal


@pytest.fixture(scope="module")
def run(deck: SaloonDeck) -> benchctl.OpenedRun:
    return benchctl.open_run(deck.finished)


# -- figures, trend, captures ----------------------------------------------------------------------------------------


def test_the_figures_have_the_columns_words_and_numbers_of_figures_csv(
    deck: SaloonDeck, run: benchctl.OpenedRun
) -> None:
    """pandas reads the file by itself."""
    text = pd.read_csv(deck.finished / "figures.csv", dtype=str, keep_default_na=False)
    figures = run.figures
    assert list(figures.columns) == list(text.columns)
    for column in figures.columns:
        found = figures[column].astype("string").fillna("")
        if figures[column].dtype == "float64":
            found = figures[column].map(lambda value: "" if np.isnan(value) else repr(value))
        if figures[column].dtype == "boolean":
            found = found.str.lower()
        assert list(found) == list(text[column]), column


def test_each_figure_has_a_unit_and_each_other_number_has_one_in_the_frame(run: benchctl.OpenedRun) -> None:
    figures = run.figures
    assert (figures["unit"] != "").all()
    beside = {"value", "expanded_uncertainty", "coverage_factor"}
    numbers = {name for name in figures.columns if figures[name].dtype == "float64"} - beside
    assert numbers == set(figures.attrs["units"])


def test_verdicts_bounds_and_what_is_inconclusive_stay_so(deck: SaloonDeck, run: benchctl.OpenedRun) -> None:
    told = [(figure["verdict"], figure["bound"]) for figure in figures_in_journal(deck.finished)]
    assert list(zip(run.figures["verdict"], run.figures["bound"], strict=True)) == told
    assert {"passes", "fails", "inconclusive"} <= set(run.figures["verdict"])
    assert ("inconclusive", "at most") in told


def test_a_frame_that_was_changed_changes_no_other(run: benchctl.OpenedRun) -> None:
    changed = run.figures
    changed["value"] = 0.0
    assert run.figures["value"].abs().max() > 0.0


def test_simulated_figures_are_marked_by_a_truth_value_that_rows_can_be_chosen_by(run: benchctl.OpenedRun) -> None:
    figures = run.figures
    assert figures["simulated"].all()
    assert figures[~figures["simulated"]].empty


def test_the_trend_has_its_units(run: benchctl.OpenedRun) -> None:
    trend = run.trend
    assert trend["time_s"].is_monotonic_increasing
    assert trend.attrs["units"] == {
        "time_s": "s",
        "supply_voltage_v": "V",
        "supply_current_a": "A",
        **{column: "degC" for column in trend.columns if column.endswith("_c")},
    }


def test_a_capture_is_in_volts_by_channel_with_its_time_from_the_trigger(
    deck: SaloonDeck, run: benchctl.OpenedRun
) -> None:
    """numpy reads the file by itself; its docstring says how codes become values."""
    figures = run.figures
    name = figures[figures["figure"] == "continuous_power"]["capture"].iloc[0].split()[0]
    capture = run.captures[name]
    with np.load(deck.finished / name) as file:
        row = list(file["signals"]).index("output B")
        volts = file["codes"][row] * file["scale"][row] + (file["offset"][row] - file["zero"][row])
        start_s, interval_s, count = float(file["start_s"]), float(file["interval_s"]), file["codes"].shape[1]
    np.testing.assert_allclose(capture.volts["B"], volts, rtol=1e-12, atol=1e-12)
    assert capture.time_s[0] == start_s
    assert capture.time_s[-1] == pytest.approx(start_s + (count - 1) * interval_s)
    assert set(capture.volts) == {"A", "B"}
    assert capture.units["output B"] == "V"
    assert capture.conditions.load_ohm == 4.0
    assert capture.simulated is True
    assert capture.frame().attrs["units"]["time_s"] == "s"


def test_a_capture_is_found_by_its_short_names_too(run: benchctl.OpenedRun) -> None:
    file = list(run.captures)[3]
    base = file.removeprefix("captures/")
    for name in (base, base.removesuffix(".npz"), base[:4], base[:4].lstrip("0")):
        assert run.captures[name].name == file
        assert name in run.captures


def test_a_capture_that_is_not_there_is_named(run: benchctl.OpenedRun) -> None:
    assert "9999" not in run.captures
    with pytest.raises(UsageError, match="has no capture of the name '9999'"):
        run.captures["9999"]


def test_conditions_and_context_are_those_of_the_journal(run: benchctl.OpenedRun) -> None:
    conditions = run.conditions
    assert conditions[conditions["event"] == "figures"]["supply_set_v"].eq(14.4).all()
    assert conditions.attrs["units"]["load_ohm"] == "ohm"
    (last,) = [each for each in run.context if each["analysis"] == "continuous"]
    assert "accuracy" in last["context"]
    assert last["readings"]["supply_current"]


# -- which run it is, and how it ended -------------------------------------------------------------------------------


def test_a_run_says_what_it_was_of_and_that_it_was_simulated(run: benchctl.OpenedRun) -> None:
    assert (run.title, run.amplifier, run.serial) == ("Saloon deck, after the repair", "HX 2150", "2150-17")
    assert run.simulated is True
    assert "supply" in run.simulated_instruments
    assert repr(run).startswith("<Simulated. ")
    assert (run.ending, run.exit_code, run.is_safe, run.missing, run.changed) == ("finished", 1, True, (), ())


def test_a_run_that_a_limit_stopped_raises_it_and_tells_where_the_rest_is_kept(deck: SaloonDeck) -> None:
    assert deck.limit.startswith("supply_current")
    assert deck.noted == (f"What was measured is kept: benchctl.open_run('{deck.tripped}')",)
    opened = benchctl.open_run(deck.tripped)
    assert (opened.ending, opened.exit_code, opened.is_safe) == ("limit", 4, True)
    assert opened.figures.empty
    assert list(opened.figures.columns) == list(benchctl.open_run(deck.finished).figures.columns)


def test_a_run_that_was_killed_gives_what_its_journal_has_and_says_what_is_missing(deck: SaloonDeck) -> None:
    opened = benchctl.open_run(deck.killed)
    assert (opened.ending, opened.exit_code, opened.is_safe) == ("killed", None, False)
    assert list(opened.figures["value"]) == [figure["value"] for figure in figures_in_journal(deck.killed)]
    assert len(opened.trend) == len(benchctl.open_run(deck.finished).trend)
    assert any("torn" in sentence for sentence in opened.missing)


def test_a_run_is_opened_by_a_word_too(deck: SaloonDeck) -> None:
    root = deck.finished.parent
    newest = max(deck.finished.name, deck.tripped.name)
    assert benchctl.open_run("latest", runs=root).name == newest
    assert benchctl.open_run("2150-17", runs=root).serial == "2150-17"
    assert benchctl.open_run(deck.killed.name, runs=root).ending == "killed"
    with pytest.raises(UsageError, match="there are 2150-17"):
        benchctl.open_run("77", runs=root)


def test_a_folder_that_is_no_run_is_refused_by_name(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=f"{tmp_path} is not a run folder"):
        benchctl.open_run(tmp_path)


# -- what names a person ---------------------------------------------------------------------------------------------


def test_nothing_names_the_owner_unless_that_is_asked_for(deck: SaloonDeck, run: benchctl.OpenedRun) -> None:
    with_owner = benchctl.open_run(deck.finished, with_owner=True)
    for private in (saloon_deck.OWNER, saloon_deck.CONTACT, saloon_deck.REFERENCE):
        assert private not in run.documents["amplifier"]
        assert private not in str(run.journal)
        assert private in with_owner.documents["amplifier"]
    assert "outputs: grounded" in run.documents["amplifier"]
    assert set(run.documents) == {"sequence", "bench", "amplifier"}


# -- several runs ----------------------------------------------------------------------------------------------------


def test_the_runs_of_a_folder_come_in_order_and_what_is_no_run_is_named(deck: SaloonDeck, tmp_path: Path) -> None:
    folder = tmp_path / "runs"
    shutil.copytree(deck.finished.parent, folder)
    (folder / "photographs").mkdir()
    (folder / "readme.txt").write_text("not a folder")
    runs = benchctl.open_runs(folder)
    assert [run.name for run in runs] == sorted(each.name for each in (deck.killed, deck.finished, deck.tripped))
    assert len(runs) == 3
    assert runs[-1].ending == "limit"
    assert [run.name for run in runs[:1]] == [deck.killed.name]
    assert [path.name for path in runs.left_out] == ["photographs"]
    assert [path.name for path in runs.damaged] == [deck.killed.name]


def test_the_figures_of_all_runs_are_one_frame_whose_rows_name_their_run(deck: SaloonDeck) -> None:
    figures = benchctl.open_runs(deck.finished.parent).figures
    counts = figures.groupby("folder").size()
    assert counts[deck.finished.name] == len(figures_in_journal(deck.finished))
    assert counts[deck.killed.name] == len(figures_in_journal(deck.killed))
    assert figures["burst_cycles"].dtype == "Int64"
    assert figures.attrs["units"]["level_v"] == "V"


def test_a_folder_without_runs_gives_a_frame_without_rows(tmp_path: Path) -> None:
    figures = benchctl.open_runs(tmp_path).figures
    assert figures.empty
    assert figures["value"].dtype == "float64"
    with pytest.raises(UsageError, match="there is no folder"):
        benchctl.open_runs(tmp_path / "none")
