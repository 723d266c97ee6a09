"""What is exported, opened again by other libraries: the same numbers, and nothing said that was not measured."""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import duckdb
import junitparser
import numpy as np
import pytest
import soundfile

from benchctl.cli.main import main
from tests import saloon_deck
from tests.docs.reading import give as give_command
from tests.pages import blocks
from tests.saloon_deck import SaloonDeck, figures_in_journal

FORMS = ("csv", "parquet", "wav", "junit")
PRIVATE = (saloon_deck.OWNER, saloon_deck.CONTACT, saloon_deck.REFERENCE)


@pytest.fixture(scope="module")
def exported(deck: SaloonDeck, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A place with all runs in each form: csv, parquet and wav are folders, junit is a file."""
    place = tmp_path_factory.mktemp("exported")
    for form in FORMS:
        assert give(deck.finished, deck.tripped, deck.killed, form=form, out=place / form) == 0
    return place


def give(*runs: Path, form: str, out: Path, options: tuple[str, ...] = ()) -> int:
    """Give the command; returns its exit code."""
    with pytest.raises(SystemExit) as ended:
        main(["export", *map(str, runs), "--as", form, "--out", str(out), *options])
    assert isinstance(ended.value.code, int)
    return ended.value.code


Asking = Callable[..., list[tuple[Any, ...]]]


@pytest.fixture(params=["csv", "parquet"])
def ask(request: pytest.FixtureRequest, exported: Path) -> Asking:
    """Asks DuckDB, which shares no code with what wrote the tables: {runs}, {figures} and {trend} are their files."""
    form = request.param
    names = ("runs", "figures", "trend")
    places = {name: f"'{exported / form / name}.{form}'" for name in names}

    def asked(question: str, *values: object) -> list[tuple[Any, ...]]:
        return duckdb.execute(question.format(**places), values).fetchall()

    return asked


# -- tables ----------------------------------------------------------------------------------------------------------


def test_each_figure_is_a_row_with_its_number_unit_verdict_and_bound(deck: SaloonDeck, ask: Asking) -> None:
    fields = ("figure", "value", "unit", "expanded_uncertainty", "verdict", "bound")
    question = f"SELECT {', '.join(fields)} FROM {{figures}} WHERE folder = ?"
    for folder in (deck.finished, deck.killed):
        told = [tuple(each[field] for field in ("name", *fields[1:])) for each in figures_in_journal(folder)]
        found = ask(question, folder.name)
        assert [tuple("" if cell is None else cell for cell in row) for row in found] == [
            tuple("" if cell is None else cell for cell in row) for row in told
        ]


def test_conditions_and_requirement_stand_in_each_row(deck: SaloonDeck, ask: Asking) -> None:
    question = (
        "SELECT load_ohm, frequency_hz, supply_set_v, driven, required FROM {figures} "
        "WHERE folder = ? AND figure = 'continuous_power' AND channel = 'A'"
    )
    assert ask(question, deck.finished.name) == [(4.0, 1000.0, 14.4, "A B", "above 15 W")]


def test_every_row_of_every_table_names_its_run_and_says_that_it_was_simulated(deck: SaloonDeck, ask: Asking) -> None:
    for table, folders in (("runs", 3), ("figures", 2), ("trend", 3)):
        question = f"SELECT count(DISTINCT folder), min(CAST(simulated AS VARCHAR)) FROM {{{table}}}"
        assert ask(question) == [(folders, "true")], table


def test_how_each_run_ended_is_in_the_table_of_runs(deck: SaloonDeck, ask: Asking) -> None:
    found = {row[0]: row[1:] for row in ask("SELECT folder, ending, exit_code, safe, verdict FROM {runs}")}
    assert found[deck.finished.name] == ("finished", 1, True, "Fails")
    assert found[deck.tripped.name] == ("limit", 4, True, "No verdict")
    assert found[deck.killed.name] == ("killed", None, False, "Fails")
    ((torn,),) = ask("SELECT cannot_be_read FROM {runs} WHERE folder = ?", deck.killed.name)
    assert "torn" in torn


def test_the_trend_is_a_row_for_each_reading_with_its_unit(deck: SaloonDeck, ask: Asking) -> None:
    """Held against the file of the run folder, which DuckDB reads too."""
    own = f"'{deck.finished / 'trend.csv'}'"
    total = duckdb.execute(f"SELECT sum(supply_current_a), count(*) FROM {own}").fetchone()
    question = "SELECT sum(value), count(*), min(unit) FROM {trend} WHERE folder = ? AND signal = 'supply_current'"
    assert total is not None
    assert ask(question, deck.finished.name) == [(pytest.approx(total[0]), total[1], "A")]
    assert {row[0] for row in ask("SELECT DISTINCT unit FROM {trend}")} == {"V", "A", "degC"}


def test_a_reading_that_failed_is_empty_and_no_number(ask: Asking, deck: SaloonDeck) -> None:
    """Rows where the slow thermometer had nothing new."""
    rows = (deck.finished / "trend.csv").read_text(encoding="utf-8").splitlines()[1:]
    empty = sum(row.split(",").count("") for row in rows)
    question = "SELECT count(*) - count(value), count(*) FILTER (isnan(value)) FROM {trend} WHERE folder = ?"
    assert empty > 0
    assert ask(question, deck.finished.name) == [(empty, 0)]


def test_parquet_has_units_and_meanings_as_metadata_and_csv_in_a_table_of_columns(exported: Path) -> None:
    pyarrow = pytest.importorskip("pyarrow.parquet")
    field = pyarrow.read_schema(exported / "parquet" / "figures.parquet").field("level_v")
    assert field.metadata[b"unit"] == b"V"
    columns = f"'{exported / 'csv' / 'columns.csv'}'"
    told = duckdb.execute(f"SELECT unit, meaning FROM {columns} WHERE \"table\" = 'figures' AND \"column\" = 'level_v'")
    assert told.fetchall() == [("V", field.metadata[b"meaning"].decode())]


def test_without_pyarrow_parquet_says_what_to_install(
    deck: SaloonDeck, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    assert give(deck.finished, form="parquet", out=tmp_path / "tables") == 2
    assert "python -m pip install 'benchctl[parquet]'" in capsys.readouterr().err


# -- sound -----------------------------------------------------------------------------------------------------------


def test_a_sound_file_has_the_volts_of_both_channels_at_their_rate(deck: SaloonDeck, exported: Path) -> None:
    for file in sorted((exported / "wav" / deck.finished.name).glob("*.wav")):
        number = file.name[:4]
        (npz,) = (deck.finished / "captures").glob(f"{number}-*.npz")
        with np.load(npz) as record:
            rows = [list(record["signals"]).index(f"output {channel}") for channel in "AB"]
            codes, zero = record["codes"][rows].T, record["offset"][rows] - record["zero"][rows]
            volts, interval_s = codes * record["scale"][rows] + zero, float(record["interval_s"])
        samples, rate_hz = soundfile.read(file, dtype="float64")
        np.testing.assert_allclose(samples, volts, rtol=1e-12, atol=1e-12)
        assert rate_hz == round(1.0 / interval_s)
    assert np.abs(samples).max() > 1.0  # volts, not parts of a full scale


def test_what_a_sound_is_stands_in_it_and_beside_it(deck: SaloonDeck, exported: Path) -> None:
    (file,) = (exported / "wav" / deck.finished.name).glob("*-continuous.simulated.volts.wav")
    with soundfile.SoundFile(file) as sound:
        assert sound.subtype == "DOUBLE"
        comment = sound.comment
    assert comment.startswith("SIMULATED, no measurement. Values are volts")
    about = json.loads(file.with_suffix(".json").read_text(encoding="utf-8"))
    assert (about["simulated"], about["unit"], about["channels"], about["clipped"]) == (True, "V", ["A", "B"], [])
    assert about["first_sample_s"] == -about["trigger_at_sample"] * about["interval_s"]
    assert about["conditions"]["load_ohm"] == 4.0
    assert "supply current" in about["signals_left_out"]


# -- test results ----------------------------------------------------------------------------------------------------


def suites(file: Path) -> dict[str, junitparser.TestSuite]:
    """By the name of the run folder."""
    return {suite.name.removeprefix("SIMULATED: "): suite for suite in junitparser.JUnitXml.fromfile(str(file))}


def test_each_verdict_is_a_test_case_and_only_one_that_passes_passes(deck: SaloonDeck, exported: Path) -> None:
    suite = suites(exported / "junit")[deck.finished.name]
    judged = [each for each in figures_in_journal(deck.finished) if each["verdict"]]
    cases = [case for case in suite if case.classname != "run"]
    assert [case.name.split()[0] for case in cases] == [each["name"] for each in judged]
    for case, figure in zip(cases, judged, strict=True):
        results = [(type(each).__name__, each.type) for each in case.result]
        assert results == ([] if figure["verdict"] == "passes" else [("Failure", figure["verdict"])])
    assert suite.failures == len([each for each in judged if each["verdict"] != "passes"])
    assert suite.errors == 0


def test_a_failure_tells_the_figure_its_uncertainty_or_bound_and_what_was_required(
    deck: SaloonDeck, exported: Path
) -> None:
    suite = suites(exported / "junit")[deck.finished.name]
    told = {case.name.split(" [")[0]: case.result[0].message for case in suite if case.result}
    assert told["idle_current"] == "1.58 ± 0.19 A, must be below 1 A"
    assert told["thd_n A"].startswith("≤ 0.")
    assert "must be below 0.05 %" in told["thd_n A"]


def test_a_run_that_tripped_or_was_killed_is_an_error_with_its_reason(deck: SaloonDeck, exported: Path) -> None:
    found = suites(exported / "junit")
    for folder, kind in ((deck.tripped, "limit"), (deck.killed, "killed")):
        (ending,) = [case for case in found[folder.name] if case.name == "the run comes to its end"]
        assert [(type(each).__name__, each.type) for each in ending.result] == [("Error", kind)]
    (tripped,) = [case for case in found[deck.tripped.name] if case.name == "the run comes to its end"]
    assert "supply_current above 1 A for 200 ms" in tripped.result[0].message
    (unsafe,) = [case for case in found[deck.killed.name] if case.name == "the bench is known to be safe"]
    assert unsafe.result[0].type == "not safe"


def test_a_run_without_any_verdict_is_told_and_is_no_silent_pass(deck: SaloonDeck, exported: Path) -> None:
    suite = suites(exported / "junit")[deck.tripped.name]
    assert suite.skipped == 1
    assert suite.name.startswith("SIMULATED: ")


# -- all forms -------------------------------------------------------------------------------------------------------


def contents(place: Path) -> dict[str, bytes]:
    files = [place] if place.is_file() else [path for path in place.rglob("*") if path.is_file()]
    return {str(path.relative_to(place)): path.read_bytes() for path in files}


def test_the_same_runs_give_the_same_bytes_and_name_no_owner(deck: SaloonDeck, exported: Path, tmp_path: Path) -> None:
    for form in FORMS:
        assert give(deck.finished, deck.tripped, deck.killed, form=form, out=tmp_path / form) == 0
        assert contents(tmp_path / form) == contents(exported / form)
        assert not any(name.encode() in content for content in contents(exported / form).values() for name in PRIVATE)


def test_a_table_that_names_no_owner_has_no_place_for_one(exported: Path) -> None:
    header = (exported / "csv" / "runs.csv").read_text(encoding="utf-8").partition("\n")[0]
    assert not {"owner", "contact", "reference", "workshop_contact"} & set(header.split(","))


def test_the_owner_is_named_on_request_in_a_file_that_says_so(deck: SaloonDeck, tmp_path: Path) -> None:
    assert give(deck.finished, form="csv", out=tmp_path / "csv", options=("--with-owner",)) == 0
    assert saloon_deck.OWNER in (tmp_path / "csv" / "runs-with-owner.csv").read_text(encoding="utf-8")
    assert not (tmp_path / "csv" / "runs.csv").exists()
    assert give(deck.finished, form="junit", out=tmp_path / "xml", options=("--with-owner",)) == 0
    assert saloon_deck.CONTACT in (tmp_path / "xml").read_text(encoding="utf-8")


def test_nothing_is_overwritten_unless_that_is_asked_for(
    deck: SaloonDeck, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "results.xml"
    out.write_text("mine")
    assert give(deck.finished, form="junit", out=out) == 2
    assert "add --replace" in capsys.readouterr().err
    assert out.read_text() == "mine"
    assert give(deck.finished, form="junit", out=out, options=("--replace",)) == 0
    assert out.read_text(encoding="utf-8").startswith("<?xml")


def test_what_cannot_be_read_is_named_and_the_rest_is_exported(
    deck: SaloonDeck, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run = shutil.copytree(deck.finished, tmp_path / "run")
    (broken, *_) = sorted((run / "captures").glob("*-continuous.npz"))
    broken.write_bytes(broken.read_bytes()[:100])
    (tmp_path / "foreign").mkdir()
    assert give(run, tmp_path / "foreign", form="wav", out=tmp_path / "wav") == 1
    said = capsys.readouterr().err
    assert f"Left out: {tmp_path / 'foreign'}" in said
    assert f"captures/{broken.name}" in said
    assert list((tmp_path / "wav" / "run").glob("*-idle*.wav"))
    assert give(tmp_path / "foreign", form="csv", out=tmp_path / "csv") == 2


def test_the_commands_that_the_page_shows_run(deck: SaloonDeck, tmp_path: Path) -> None:
    first, *_ = blocks("docs/export.md", "console")
    commands = [command.replace("RUN_FOLDER", str(deck.finished)) for command in first.commands]
    assert {ran.exit_code for ran in (give_command(command, tmp_path) for command in commands)} == {0}
    assert {path.name for path in tmp_path.iterdir()} == {"tables", "sounds", "results.xml"}
