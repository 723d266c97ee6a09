"""benchctl unit and benchctl drift: what they print, write and end with."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.cli.conftest import Command
from tests.lives import as_real, months_of, note_after, with_clamp
from tests.shared_runs import SharedRuns

DAYS = [datetime(2026, 1, 12, 9, tzinfo=UTC) + timedelta(days=14 * number) for number in range(11)]


@pytest.fixture(scope="module")
def runs(shared_runs: SharedRuns, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A unit that is measured every fortnight, with a note after the second run, on a bench whose clamp ages."""
    out = tmp_path_factory.mktemp("months") / "runs"

    def change(events: list[dict[str, object]], number: int) -> None:
        as_real(events)
        with_clamp(events, 1.0 + 0.002 * number)
        if number == 1:
            note_after(events, "2026-02-01T10:00:00.000+00:00", "Both output relays cleaned\nR214 replaced", photos=2)

    months_of(shared_runs.of("quick_check", "hx2150").folder, out, DAYS, change, "serial: '17-0042'")
    return out


def test_unit_prints_the_course_and_writes_the_page_beside_the_runs(benchctl: Command, runs: Path) -> None:
    ended = benchctl("unit", "17-0042", "--runs", runs)
    lines = ended.out.splitlines()
    assert (ended.exit_code, ended.err) == (0, "")
    assert lines[0] == "HX 2150, serial 17-0042: 11 runs"
    assert "  2026-02-01 10:00 UTC  note: Both output relays cleaned ... (2 photographs)" in lines
    assert lines[-1] == f"Page: {runs / 'unit-17-0042.html'}"
    assert (runs / "unit-17-0042.html").is_file()


def test_unit_as_data_has_runs_and_notes_in_the_order_of_time(benchctl: Command, runs: Path, tmp_path: Path) -> None:
    told = benchctl("unit", "17-0042", "--runs", runs, "--out", tmp_path / "page.html", "--json").data
    assert [entry["kind"] for entry in told["course"]] == ["run", "run", "note", *["run"] * 9]
    assert told["course"][1]["changes"]["since"].startswith("2026-01-12")


def test_drift_says_what_has_changed_and_ends_with_code_1(benchctl: Command, runs: Path, tmp_path: Path) -> None:
    ended = benchctl("drift", "--runs", runs, "--out", tmp_path / "page.html")
    assert ended.exit_code == 1
    # 0.2 % a fortnight: nine steps lie between the means of the first two and of the last two.
    assert "supply current, clamp over supply's reading: changed: 1.8 % higher at the end" in ended.out
    assert "voltage at idle, probe over supply's reading: within limits: provisional" in ended.out
    data = benchctl("drift", "--runs", runs, "--out", tmp_path / "page.html", "--json").data
    assert [series["what"] for series in data["series"] if series["state"] == "changed"] == [
        "supply current, clamp over supply's reading"
    ]


def test_both_refuse_to_write_over_what_is_no_page(benchctl: Command, runs: Path, tmp_path: Path) -> None:
    own = tmp_path / "own.html"
    own.write_text("mine", encoding="utf-8")
    for command in (["unit", "17-0042"], ["drift"]):
        ended = benchctl(*command, "--runs", runs, "--out", own)
        assert ended.exit_code == 2
        assert "is not a report, so it is not overwritten" in ended.err
    assert own.read_text(encoding="utf-8") == "mine"


def test_both_tell_where_there_is_nothing(benchctl: Command, tmp_path: Path) -> None:
    for command in (["unit", "17-0042"], ["drift"]):
        assert "there is no folder" in benchctl(*command, "--runs", tmp_path / "nowhere").err
        assert benchctl(*command, "--runs", tmp_path).exit_code == 2
    unknown = benchctl("unit", "17-0042", "--runs", tmp_path).err
    assert "Write it into the amplifier file before a run: `serial: 17-0042`." in unknown
