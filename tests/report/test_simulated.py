"""No page, table or summary of a run with a simulated instrument reads like a measurement."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.journal import read_journal
from benchctl.archive.tables.run_identity import run_identity_of
from benchctl.report.comparison.compared import compare
from benchctl.report.comparison.tables import runs_table
from benchctl.report.page import report_page
from benchctl.report.pictures.canvas import Picture
from benchctl.report.pictures.gallery import Gallery
from benchctl.report.reading.run_record import read_run_record
from benchctl.report.sections.simulated import mark_of
from benchctl.report.summary import summary_of
from tests.report.conftest import ROLES, changed, real, rewrite
from tests.report.pages import Page, part, words_of
from tests.report.test_page import page_of

SERVED = {role: f"benchctl,{role.upper()},SIM2150,1.0" for role in ROLES}


def partly(folder: Path) -> Path:
    """Real instruments, but for a simulated supply."""
    return changed(real(folder), "run started", simulated=["supply"])


def test_a_run_against_served_instruments_is_marked_like_a_dry_run(folder: Path) -> None:
    page = page_of(changed(folder, "run started", dry_run=False, simulated=list(ROLES)))
    assert (part(page.root, "title").text or "").startswith("SIMULATED: ")
    assert "Simulated run, no measurement" in page.text
    assert "Simulated figures are not measurements. Every instrument and the amplifier itself were" in page.text
    assert "Fails (simulated)" in page.text
    assert "virtual time" not in page.text


def test_a_run_of_an_earlier_version_is_known_by_what_its_instruments_answered(folder: Path) -> None:
    page = page_of(changed(folder, "run started", dry_run=False, simulated=[], instruments=SERVED))
    assert "Every instrument and the amplifier itself were simulated." in page.text


def test_a_partly_simulated_run_says_which_instruments_were(folder: Path) -> None:
    page = page_of(partly(folder))
    words = "Simulated were: supply. Real were: generator, oscilloscope, load, thermometer. No figure on this page"
    assert words in page.text


def test_each_picture_is_marked(folder: Path) -> None:
    picture = Picture("power", "Power", "From captures/0007.npz.", "A curve", "<svg></svg>")
    page = Page.of(report_page(read_run_record(partly(folder)), Gallery((picture,), ())))
    assert words_of(part(page.root, "figcaption")) == "Simulated. From captures/0007.npz."


def test_a_journal_without_a_beginning_makes_no_measurement_of_it(folder: Path) -> None:
    page = page_of(rewrite(folder, lambda events: [e for e in events if e["event"] != "run started"]))
    assert (part(page.root, "title").text or "").startswith("PERHAPS SIMULATED: ")
    assert "These figures may not be measurements. It is not on record whether" in page.text


def test_a_real_run_has_no_mark(folder: Path) -> None:
    assert mark_of(read_run_record(real(folder))) is None


def test_an_instrument_behind_a_program_on_this_computer_is_named(folder: Path) -> None:
    """The shipped bench is all on loopback; what answers there as a real instrument may be anything."""
    page = page_of(real(folder))
    assert "Instruments reached at an address of this computer" in page.text
    assert "supply: TCPIP::127.0.0.1::15024::SOCKET" in page.text
    assert "supply: TCPIP::127.0.0.1::15024::SOCKET" not in page_of(partly(folder)).text


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({"dry_run": True}, "true"),
        ({"dry_run": False, "simulated": ["supply"]}, "true"),
        ({"dry_run": False, "instruments": SERVED}, "true"),
        ({"dry_run": False, "instruments": {"supply": "FAIRLEAD,PS,1,1"}, "simulated": []}, "false"),
    ],
)
def test_the_column_of_figures_csv_follows_the_journal(
    folder: Path, fields: Mapping[str, object], expected: str
) -> None:
    changed(folder, "run started", **fields)
    run = run_identity_of(read_journal(RunFolder.open(folder).journal).events)
    assert run.cells()["simulated"] == expected


def test_a_comparison_says_of_each_run_what_it_was(whole: Path, folder: Path) -> None:
    table = runs_table(compare([read_run_record(whole), read_run_record(partly(folder))]))
    rows = {row[0].text: [cell.text for cell in row[1:]] for row in table.rows}
    assert rows["instruments"] == ["simulated", "simulated: supply"]


def test_the_summary_for_programs_says_it_and_which(folder: Path) -> None:
    said = summary_of(read_run_record(partly(folder)))
    assert (said["simulated"], said["simulated_instruments"], said["dry_run"]) == (True, ["supply"], False)
