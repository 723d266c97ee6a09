"""benchctl report: a page from a run folder, and what is said where there is none."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from benchctl.cli.shown.views import PlainView
from benchctl.errors import ArchiveError
from tests.cli.conftest import Command, RunFolderOf
from tests.cli.files import IDLE, TONE, sequence


@pytest.fixture
def folder(run_folder_of: RunFolderOf) -> Path:
    return run_folder_of(IDLE)


def test_it_writes_the_page_into_the_folder_and_says_where(benchctl: Command, folder: Path) -> None:
    (folder / "report.html").unlink(missing_ok=True)
    ended = benchctl("report", folder)
    assert (ended.exit_code, ended.err) == (0, "")
    assert ended.out == f"Report: {folder / 'report.html'}\n"
    assert "Idle only" in (folder / "report.html").read_text(encoding="utf-8")


def test_a_folder_that_holds_no_run_gives_exit_code_2(benchctl: Command, tmp_path: Path) -> None:
    for wrong in (tmp_path, tmp_path / "nowhere"):
        ended = benchctl("report", wrong)
        assert ended.exit_code == 2
        assert f"{wrong} is not a run folder" in ended.err
        assert "Traceback" not in ended.err


@pytest.mark.parametrize("out", ["nowhere/page.html", "."])
def test_a_page_that_has_no_place_to_go_gives_exit_code_2(benchctl: Command, tmp_path: Path, out: str) -> None:
    ended = benchctl("report", tmp_path, "--out", out)
    assert ended.exit_code == 2
    assert "nowhere" in ended.err or "is a directory" in ended.err


@pytest.mark.parametrize("name", ["sequence.yaml", "journal.jsonl", "page.html"])
def test_a_page_takes_the_place_of_nothing_but_a_page(
    benchctl: Command, folder: Path, tmp_path: Path, name: str
) -> None:
    sequence(tmp_path)
    there = folder / name if name == "journal.jsonl" else tmp_path / name
    if not there.exists():
        there.write_text("<!doctype html> of somebody else")
    before = there.read_bytes()
    ended = benchctl("report", folder, "--out", there)
    assert ended.exit_code == 2
    assert f"{there} is there already and is not a report" in ended.err
    assert there.read_bytes() == before


def test_a_page_takes_the_place_of_an_earlier_page(benchctl: Command, folder: Path, tmp_path: Path) -> None:
    for _ in range(2):
        assert benchctl("report", folder, "--out", tmp_path / "mine.html").exit_code == 0


# -- at the end of a run -------------------------------------------------------------------------------------------


def test_a_run_leaves_its_page_behind_and_its_last_line_stays_the_last(benchctl: Command, tmp_path: Path) -> None:
    ended = benchctl("run", sequence(tmp_path), "-b", "workshop", "-a", "hx2150", "--dry-run")
    assert (ended.exit_code, ended.err) == (0, "")
    *_, last = ended.out.splitlines()
    folder = Path(last.partition("Run folder: ")[2])
    assert "Passes (simulated)" in (folder / "report.html").read_text(encoding="utf-8")


def test_a_run_that_a_limit_stopped_leaves_its_page_too(benchctl: Command, tmp_path: Path) -> None:
    file = sequence(tmp_path, TONE, ("above: 95 A", "above: 10 A, for: 200 ms"))
    accepted = ("--accept", "the limit is to trip")
    ended = benchctl("run", file, "-b", "workshop", "-a", "hx2150", "--dry-run", "--json", *accepted)
    assert ended.exit_code == 4
    assert "Stopped by a limit: supply_current is " in Path(ended.data["folder"], "report.html").read_text("utf-8")


def test_a_fault_of_the_program_leaves_a_page_of_what_was_done_by_then(
    benchctl: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def slip(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(PlainView, "figures", slip)  # in the midst of a step
    ended = benchctl("run", sequence(tmp_path), "-b", "workshop", "-a", "hx2150", "--dry-run")
    assert ended.exit_code == 5
    (page,) = Path("runs").glob("*/report.html")
    assert "idle_current" in page.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "trouble", [ArchiveError("the disk is full"), ZeroDivisionError("a slip"), KeyboardInterrupt()]
)
def test_a_report_that_fails_hides_neither_the_end_of_the_run_nor_its_exit_code(
    benchctl: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, trouble: BaseException
) -> None:
    def broken(*_: object) -> None:
        raise trouble

    monkeypatch.setattr("benchctl.report.page.write_report", broken)
    file = sequence(tmp_path, IDLE, ("below 2.5 A", "below 500 mA"))
    ended = benchctl("run", file, "-b", "workshop", "-a", "hx2150", "--dry-run")
    assert ended.exit_code == 1
    said = r"Finished: 1 fails\. Failed: idle_current 1\.\d+ ± 0\.\d+ A, must be below 500 mA\. Run folder: "
    assert re.search(said, ended.out.splitlines()[-1])
    assert ended.err.startswith("Warning: there is no report of this run: ")
    assert "To try again: benchctl report runs" in ended.err


def test_a_resumed_run_writes_its_page_anew(benchctl: Command, folder: Path) -> None:
    journal = folder / "journal.jsonl"
    lines = journal.read_text(encoding="utf-8").splitlines(keepends=True)
    place = next(number for number, line in enumerate(lines) if '"step": "2 measure_idle"' in line)
    journal.write_text("".join(lines[: place + 1]), encoding="utf-8")
    (folder / "report.html").unlink()
    assert benchctl("resume", folder).exit_code == 0
    assert "run resumed" in (folder / "report.html").read_text(encoding="utf-8")


# -- several, and for a program ------------------------------------------------------------------------------------


def test_several_folders_are_compared(benchctl: Command, folder: Path, tmp_path: Path) -> None:
    ended = benchctl("report", folder, folder, "--out", "both.html")
    assert (ended.exit_code, ended.out) == (0, "Report: both.html\n")
    assert "Nothing differs significantly." in Path("both.html").read_text(encoding="utf-8")
    assert benchctl("report", folder, tmp_path / "nowhere").exit_code == 2


def test_json_says_where_the_page_is_and_what_the_run_came_to(benchctl: Command, tmp_path: Path) -> None:
    file = sequence(tmp_path, TONE)
    folder = Path(benchctl("run", file, "-b", "workshop", "-a", "hx2150", "--dry-run", "--json").data["folder"])
    said = benchctl("report", folder, "--json").data
    assert said["page"] == str(folder / "report.html")
    (run,) = said["runs"]
    assert (run["amplifier"], run["sequence"]) == ("HX 2150", "Idle, then a tone")
    assert (run["dry_run"], run["exit_code"], run["verdict"]) == (True, 0, "No verdict")
    assert run["missing"] == run["unconfirmed"] == []
    assert {(row["drive"], row["rated_w"]) for row in run["power"]} == {("set", None)}, "no rating is of a set level"
