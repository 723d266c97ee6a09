"""benchctl report: a page from a run folder, and what is said where there is none."""

from __future__ import annotations

from pathlib import Path

from tests.cli.conftest import Command
from tests.cli.files import sequence


def run_folder(benchctl: Command, tmp_path: Path) -> Path:
    ended = benchctl("run", sequence(tmp_path), "-b", "workshop", "-a", "hx2150", "--dry-run", "--json")
    return Path(ended.data["folder"])


def test_it_writes_the_page_into_the_folder_and_says_where(benchctl: Command, tmp_path: Path) -> None:
    folder = run_folder(benchctl, tmp_path)
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
