"""Two outputs bridged into one: one bench file and one amplifier file serve the stereo and the bridged test."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from benchctl import library
from benchctl.archive.folder import RunFolder
from benchctl.archive.tables.figures import read_figures
from benchctl.archive.verify import verify
from benchctl.documents.reader import load_amplifier
from benchctl.documents.sequence_file.bench_steps import Set
from benchctl.errors import DocumentError, UsageError
from benchctl.launch.run import Documents, run
from benchctl.report.page import write_report
from benchctl.report.pictures.gallery import Gallery
from benchctl.report.reading.run_record import read_run_record
from benchctl.report.sheet.writing import sheet_page
from benchctl.runner.checks.preflight import Preflight, preflight
from benchctl.runner.plan import expand
from tests.launch.test_resume import Silent

POWER = ("find_clean_level: {thd_n: 1 %, from: 10 mV, to: 2 V}", "measure_continuous: {for: 1 s}")
BENCH, AMPLIFIER = "bridging_bench", "hx2150"


def sequence(folder: Path, *steps: str, bridged: str = "bridged: [A, B]\n", load: str = "4 ohm") -> Path:
    lines = [
        "benchctl: sequence 1\ntitle: Pair\n" + bridged + "limits: {supply_current: {above: 100 A, for: 1 s}}\nsteps:",
        "  - power_on: {voltage: 14.4 V, current_limit: 80 A}",
        f"  - set: {{load: {load}, frequency: 1 kHz}}",
        *(f"  - {step}" for step in steps),
        "  - power_off\n",
    ]
    path = folder / "pair.yaml"
    path.write_text("\n".join(lines), encoding="utf-8")
    return path


def dry(folder: Path, *steps: str, bridged: str = "bridged: [A, B]\n", load: str = "4 ohm") -> Path:
    documents = Documents(sequence(folder, *steps, bridged=bridged, load=load), BENCH, AMPLIFIER)
    return run(documents, Silent(), out=folder / "runs", dry_run=True, accepted="a test").folder


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return dry(tmp_path_factory.mktemp("bridged"), *POWER)


@pytest.fixture(scope="module")
def table(folder: Path) -> pd.DataFrame:
    return read_figures(RunFolder.open(folder))


def value(table: pd.DataFrame, figure: str, channel: str) -> float:
    (found,) = table[(table["figure"] == figure) & (table["channel"] == channel)]["value"]
    return float(found)


def test_the_pair_gives_what_both_outputs_give_together_into_half_the_load(table: pd.DataFrame, tmp_path: Path) -> None:
    """Each half sees 2 ohm of the 4 ohm across the pair, so a stereo run into 2 ohm is the same to the amplifier."""
    stereo = read_figures(RunFolder.open(dry(tmp_path, *POWER, bridged="", load="2 ohm")))
    assert value(table, "continuous_power", "A+B") == pytest.approx(
        value(stereo, "continuous_power", "total"), rel=0.02
    )


def test_each_half_has_its_share_and_sees_half_of_the_load(table: pd.DataFrame) -> None:
    for half in "AB":
        assert value(table, "half_power", half) == pytest.approx(value(table, "continuous_power", "A+B") / 2.0)
        assert value(table, "half_load", half) == pytest.approx(4.006 / 2.0, rel=0.005)  # warm


def test_the_power_is_held_against_the_rating_of_the_pair(table: pd.DataFrame) -> None:
    (verdict,) = table[(table["figure"] == "continuous_power") & (table["channel"] == "A+B")]["verdict"]
    assert verdict == "passes"  # 500 W


def test_table_and_page_say_that_the_outputs_were_bridged(folder: Path, table: pd.DataFrame) -> None:
    assert set(table["amplifier"]) == {"HX 2150, A and B bridged"}
    assert verify(folder).agrees
    write_report(read_run_record(folder))
    page = (folder / "report.html").read_text("utf-8")
    assert "HX 2150, A and B bridged" in page
    assert "half_power" in page
    sheet = sheet_page(read_run_record(folder), Gallery((), ()), "a4")
    assert "HX 2150, A and B bridged" in sheet


def checked(folder: Path, bench: str, amplifier: str = AMPLIFIER) -> Preflight:
    files = Documents(sequence(folder, *POWER), bench, amplifier).load()
    return preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=True)


def edited(folder: Path, shelf: library.Shelf, name: str, old: str, new: str) -> str:
    text = library.find(shelf, name).read_text(encoding="utf-8")
    assert old in text
    path = folder / f"{name}.yaml"
    path.write_text(text.replace(old, new), encoding="utf-8")
    return str(path)


ACROSS = "oscilloscope: 1, probe: {kind: differential, ratio: 20, rating: 400 V, accuracy: 0.5 %}}\n\n"


def test_an_earthed_probe_across_the_pair_is_a_hazard(tmp_path: Path) -> None:
    bench = edited(tmp_path, "benches", BENCH, ACROSS, ACROSS.replace("differential", "single-ended"))
    (hazard,) = checked(tmp_path, bench).hazards
    assert "output A+B is floating and its probe" in hazard
    assert "its earth lead would short half of the output stage" in hazard


def test_a_bench_without_a_load_across_the_pair_is_refused(tmp_path: Path) -> None:
    bench = edited(
        tmp_path,
        "benches",
        BENCH,
        "nominal: 4 ohm, channel: A+B, relay: 105, measured: 4.006",
        "nominal: 8 ohm, channel: A+B, relay: 105, measured: 8.006",
    )
    assert any("load at channel A+B" in hazard for hazard in checked(tmp_path, bench).hazards)


def test_files_that_know_nothing_of_the_pair_say_what_to_add(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="rates no such pair"):
        Documents(sequence(tmp_path, *POWER), BENCH, "cx4090").load()
    with pytest.raises(UsageError, match="does not say which probe is across them"):
        Documents(sequence(tmp_path, *POWER), "workshop", AMPLIFIER).load()


def test_floating_outputs_are_not_bridged(tmp_path: Path) -> None:
    name = edited(tmp_path, "amplifiers", AMPLIFIER, "outputs: grounded", "outputs: floating")
    with pytest.raises(UsageError, match="are floating, each a bridge already"):
        Documents(sequence(tmp_path, *POWER), BENCH, name).load()


def test_a_load_across_the_pair_that_is_too_low_for_each_half_is_a_fault_of_the_file(tmp_path: Path) -> None:
    name = edited(tmp_path, "amplifiers", AMPLIFIER, "minimum_load: 4 ohm, rated", "minimum_load: 2 ohm, rated")
    with pytest.raises(DocumentError, match="each half would see 1 ohm, less than the minimum load of 2 ohm"):
        load_amplifier(name)


def test_references_to_the_amplifier_are_those_of_the_pair() -> None:
    files = Documents("bridged_burst_and_continuous", BENCH, AMPLIFIER).load()
    assert files.amplifier.channels == ("A+B",)
    plan = expand(files.sequence, files.amplifier, files.bench)
    assert {planned.step.load_ohm for planned in plan if isinstance(planned.step, Set)} == {4.0}


def test_the_shipped_sequence_has_no_hazard_and_no_warning_on_its_bench() -> None:
    files = Documents("bridged_burst_and_continuous", BENCH, AMPLIFIER).load()
    found = preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=True)
    assert (found.hazards, found.warnings) == ((), ())
