"""list, latest and find as a user has them, and `latest` or a serial number in place of a run folder."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from benchmarks.collection import workshop
from tests.cli.conftest import Command
from tests.journals import read_events, write_events
from tests.shared_runs import SharedRuns

NEWEST = "20261124-221003-quick-check-hx-2150"


@pytest.fixture
def runs(shared_runs: SharedRuns, tmp_path: Path) -> Path:
    """`runs` in the current folder: six of a workshop, and the dry run itself, the newest, without a serial."""
    original = shared_runs.of("quick_check", "hx2150").folder
    root = tmp_path / "runs"
    list(workshop.fill(root, [workshop.pattern_of(original)], 6))
    shutil.copytree(original, root / NEWEST)
    return root


def test_list_shows_the_newest_last_and_says_what_was_simulated(benchctl: Command, runs: Path) -> None:
    shown = benchctl("list")
    assert shown.exit_code == 0
    head, *lines = shown.out.splitlines()
    assert head.split()[:3] == ["date,", "UTC", "serial"]
    assert len(lines) == 7
    assert lines[-1].startswith("2026-11-24 22:10 ")
    assert lines[-1].endswith(NEWEST)
    assert " simulated " in lines[-1]
    assert shown.err == ""
    assert [run["folder"] for run in benchctl("list", "--measured", "--newest", "1", "--json").data["runs"]] == [
        run["folder"] for run in benchctl("list", "runs", "--measured", "--json").data["runs"][-1:]
    ]
    assert "There is no such run" in benchctl("list", "--verdict", "fails", "--serial", "none").out


def test_list_names_what_cannot_be_read_and_what_is_wrong(benchctl: Command, runs: Path) -> None:
    (runs / "torn").mkdir()
    (runs / "torn" / "journal.jsonl").write_bytes(b"\x00\x01\n")
    (runs / NEWEST / "figures.csv").write_text("nonsense\n")
    shown = benchctl("list")
    assert shown.exit_code == 0
    assert len(shown.out.splitlines()) == 8
    assert "torn: is damaged: journal.jsonl tells of no run that began" in shown.err
    assert f"{NEWEST}: figures.csv is not a table of figures" in shown.err
    assert [other["folder"] for other in benchctl("list", "--json").data["not_read"]] == [str(Path("runs/torn"))]


def test_latest_prints_a_folder_and_nothing_else(benchctl: Command, runs: Path) -> None:
    assert benchctl("latest").out == f"{Path('runs') / NEWEST}\n"
    (unit,) = {run["serial"] for run in benchctl("list", "--measured", "--newest", "1", "--json").data["runs"]}
    found = benchctl("latest", "--serial", unit, "--json").data
    assert (found["serial"], found["simulated"]) == (unit, False)
    none = benchctl("latest", "--from", "2027")
    assert (none.exit_code, none.out) == (2, "")
    assert "there is no such run" in none.err
    wrong = benchctl("latest", "--from", "24.11.2026")
    assert (wrong.exit_code, "write for example 2026-11-24" in wrong.err) == (2, True)


def test_find_shows_each_figure_with_its_uncertainty_and_conditions(benchctl: Command, runs: Path) -> None:
    shown = benchctl(
        "find", "continuous_power", "at", "4 ohm", "above", "100 W", "--from", "2026-11", "--to", "2026-11-24"
    )
    assert shown.exit_code == 0
    assert "Meets the condition: 1 run." in shown.out
    assert " ± " in shown.out
    assert "channel A, 4 ohm, 1 kHz, 14.4 V" in shown.out
    assert "total" not in shown.out
    assert "Undecided: 0 runs." in shown.out
    found = benchctl("find", "continuous_power above 100 W", "--json").data
    assert [len(run["figures"]) for run in found["met"]] == [2] * 7
    none = benchctl("find", "continuous_power above 1 kW")
    assert (none.exit_code, none.out.splitlines()) == (1, ["Meets the condition: 0 runs.", "Undecided: 0 runs."])
    wrong = benchctl("find", "continuous_power at 2 ohm abov 250 W")
    assert wrong.exit_code == 2
    assert wrong.err.splitlines()[-1].index("^") == wrong.err.splitlines()[-2].index("abov")


def test_latest_and_a_serial_stand_for_a_folder_and_the_run_that_was_taken_is_named(
    benchctl: Command, runs: Path
) -> None:
    noted = benchctl("note", "latest", "Relays cleaned.")
    assert noted.exit_code == 0
    first, second, *_ = noted.out.splitlines()
    assert first == f"Latest run: {Path('runs') / NEWEST} (HX 2150; Quick check; simulated; finished)"
    assert str(Path("runs") / NEWEST) in second
    listed = benchctl("list", "--measured", "--json").data["runs"]
    of_unit = [run["folder"] for run in listed if run["serial"] == listed[0]["serial"]]
    again = benchctl("verify", listed[0]["serial"].lower(), "--json")
    assert f"Newest run of this unit: {of_unit[-1]} (" in again.err
    assert again.data["checked"] > 0
    assert benchctl("note", NEWEST, "A name in runs is a folder.").exit_code == 0


def test_a_folder_of_that_name_comes_first_and_what_means_nothing_is_refused(benchctl: Command, runs: Path) -> None:
    (runs.parent / "latest").mkdir()
    taken = benchctl("verify", "latest")
    assert taken.exit_code == 2
    assert "latest is not a run folder" in taken.err
    for word in ("resume", "report", "verify", "replay"):
        refused = benchctl(word, "HX2150-9999")
        assert refused.exit_code == 2, word
        assert "'HX2150-9999' is neither a run folder, nor 'latest', nor the serial number" in refused.err
        assert "did you mean HX2150-" in refused.err
    assert "is not a run folder" in benchctl("verify", "runs/nowhere").err


def test_a_serial_number_of_two_amplifiers_means_neither(benchctl: Command, runs: Path) -> None:
    for folder, title in zip(sorted(runs.iterdir())[:2], ("HX 2150", "KX 240"), strict=True):
        events = read_events(folder / "journal.jsonl")
        events[0] |= {"serial": "17", "amplifier": title}
        write_events(folder / "journal.jsonl", events)
    refused = benchctl("report", "17")
    assert refused.exit_code == 2
    assert "more than one unit: HX 2150, KX 240" in refused.err


def test_a_newer_folder_that_cannot_be_read_is_not_passed_over_in_silence(benchctl: Command, runs: Path) -> None:
    (runs / "20261201-080000-quick-check-hx-2150").mkdir()
    shown = benchctl("latest")
    assert shown.out == f"{Path('runs') / NEWEST}\n"
    assert "newer by its name, but not read" in shown.err


def test_the_variable_names_the_folder_of_runs(
    benchctl: Command, runs: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    runs.rename(tmp_path / "shared")
    assert benchctl("list").exit_code == 2
    monkeypatch.setenv("BENCHCTL_RUNS", "shared")
    assert benchctl("latest").out == f"{Path('shared') / NEWEST}\n"
