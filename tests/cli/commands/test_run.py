"""benchctl run: its exit codes, each by a case of its own, and what it prints and leaves behind."""

from __future__ import annotations

import json
import re
import signal
from pathlib import Path
from typing import Any

import pytest

from benchctl import library
from benchctl.cli.shown.views import PlainView
from tests.cli.conftest import Command, Finished
from tests.cli.files import IDLE, TONE, bench, bench_on_free_ports, sequence, written

ON_THE_SHIPPED_BENCH = ("-b", "workshop", "-a", "hx2150")


def folder_named_in(ended: Finished) -> Path:
    *_, last = (ended.out or ended.err).splitlines()
    named = re.search(r"Run folder: (\S+)$", last)
    assert named, last
    return Path(named.group(1))


def events(folder: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in (folder / "journal.jsonl").read_text(encoding="utf-8").splitlines()]


def event(folder: Path, kind: str) -> dict[str, Any]:
    (found,) = (event for event in events(folder) if event["event"] == kind)
    return found


# -- one exit code after the other ---------------------------------------------------------------------------------


def test_0_the_run_finished_and_every_verdict_passes(benchctl: Command, tmp_path: Path) -> None:
    ended = benchctl("run", sequence(tmp_path), *ON_THE_SHIPPED_BENCH, "--dry-run")
    assert ended.exit_code == 0
    assert "Finished: 1 verdict passes." in ended.out
    folder = folder_named_in(ended)
    assert folder.parent == Path("runs")
    assert (folder / "figures.csv").is_file()
    assert all(part["confirmed"] for part in event(folder, "safe state")["instruments"])


def test_1_a_verdict_fails(benchctl: Command, tmp_path: Path) -> None:
    file = sequence(tmp_path, IDLE, ("below 2.5 A", "below 500 mA"))
    ended = benchctl("run", file, *ON_THE_SHIPPED_BENCH, "--dry-run")
    assert ended.exit_code == 1
    assert "Finished: 1 fails." in ended.out


def test_1_the_sequence_ends_itself_by_what_it_requires(benchctl: Command, tmp_path: Path) -> None:
    file = sequence(tmp_path, IDLE, ("  - power_off", "  - require: {idle_current: below 500 mA}\n  - power_off"))
    ended = benchctl("run", file, *ON_THE_SHIPPED_BENCH, "--dry-run")
    assert ended.exit_code == 1
    assert "Ended: idle_current is 1." in ended.out


def test_2_a_document_is_wrong(benchctl: Command, tmp_path: Path) -> None:
    file = sequence(tmp_path, IDLE, ("voltage: 14.4 V", "voltage: 14.4 A"))
    ended = benchctl("run", file, *ON_THE_SHIPPED_BENCH, "--dry-run")
    assert ended.exit_code == 2
    assert f"{file}:5:25: " in ended.err
    assert not Path("runs").exists(), "a run that never began leaves nothing behind"


def test_3_preflight_refuses(benchctl: Command, tmp_path: Path) -> None:
    file = sequence(tmp_path, TONE, ("load: 4 ohm", "load: 1 ohm"))
    ended = benchctl("run", file, *ON_THE_SHIPPED_BENCH, "--dry-run")
    assert ended.exit_code == 3
    assert "minimum load" in ended.err
    assert not Path("runs").exists()


def test_4_a_limit_trips_and_what_was_measured_before_is_kept(benchctl: Command, tmp_path: Path) -> None:
    """Preflight expects that, so somebody must have accepted it."""
    file = sequence(tmp_path, TONE, ("above: 95 A", "above: 10 A, for: 200 ms"))
    ended = benchctl("run", file, *ON_THE_SHIPPED_BENCH, "--dry-run", "--accept", "the limit is to trip")
    assert ended.exit_code == 4
    assert "Stopped by a limit: supply_current is " in ended.out
    folder = folder_named_in(ended)
    assert "idle_current" in (folder / "figures.csv").read_text(encoding="utf-8")
    trip = event(folder, "trip")
    assert trip["limit"] == "supply_current"
    assert trip["value"] > 10.0
    assert 0.0 < trip["at_s"] <= trip["time_s"]
    assert all(part["confirmed"] for part in event(folder, "safe state")["instruments"])


def test_5_an_instrument_refuses_a_command(benchctl: Command, tmp_path: Path) -> None:
    """A driver file with a word that the generator does not know: its error queue says so, and the run ends."""
    driver = library.find("drivers", "generator/scpi99").read_text(encoding="utf-8")
    written(tmp_path / "own.yaml", driver, ('"SOUR:FUNC SIN"', '"SOUR:SHAPE SIN"'))
    file = bench(tmp_path, ("driver: generator/scpi99", "driver: own.yaml"))
    ended = benchctl("run", sequence(tmp_path), "-b", file, "-a", "hx2150", "--dry-run")
    assert ended.exit_code == 5
    assert "Failed: generator" in ended.out
    assert "-113" in ended.out
    assert all(part["confirmed"] for part in event(folder_named_in(ended), "safe state")["instruments"])


def test_5_nothing_answers_and_the_message_says_where_and_what_to_look_at(benchctl: Command, tmp_path: Path) -> None:
    ended = benchctl("run", sequence(tmp_path), "-b", bench_on_free_ports(tmp_path), "-a", "hx2150")
    assert ended.exit_code == 5
    assert re.match(
        r"Nothing was switched on\.\ngenerator at TCPIP::127\.0\.0\.1::\d+::SOCKET: nothing answers", ended.err
    )
    assert "Check that it is switched on" in ended.err


def test_5_the_run_folder_cannot_be_made(benchctl: Command, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file where a folder should be")
    ended = benchctl("run", sequence(tmp_path), *ON_THE_SHIPPED_BENCH, "--dry-run", "--out", "taken")
    assert ended.exit_code == 5
    assert "taken" in ended.err
    assert "Traceback" not in ended.err


def test_6_the_operator_stops_it(benchctl: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def press_ctrl_c(view: PlainView, *_: object) -> None:
        signal.raise_signal(signal.SIGINT)

    monkeypatch.setattr(PlainView, "figures", press_ctrl_c)  # in the midst of a step
    ended = benchctl("run", sequence(tmp_path), *ON_THE_SHIPPED_BENCH, "--dry-run")
    assert ended.exit_code == 6
    assert "Ended: stopped by Ctrl-C" in ended.out
    assert all(part["confirmed"] for part in event(folder_named_in(ended), "safe state")["instruments"])


# -- what it prints ------------------------------------------------------------------------------------------------


def test_each_step_is_a_line_with_its_time_and_its_figures(benchctl: Command, tmp_path: Path) -> None:
    lines = benchctl("run", sequence(tmp_path), *ON_THE_SHIPPED_BENCH, "--dry-run").out.splitlines()
    assert lines[0] == "Idle only: HX 2150 on Bench 2 of the ferry-amplifier workshop"
    assert lines[1].startswith("3 steps. About ")
    assert lines[2] == "Simulated, no measurement."
    assert lines[3] == "0:00:00  step 1 of 3: 1 power_on"
    assert any(re.fullmatch(r" {10}idle_current: 1\.\d+ ± 0\.\d+ A passes", line) for line in lines)


def test_json_says_how_it_ended_and_nothing_else_is_on_standard_output(benchctl: Command, tmp_path: Path) -> None:
    ended = benchctl("run", sequence(tmp_path), *ON_THE_SHIPPED_BENCH, "--dry-run", "--json")
    assert ended.exit_code == 0
    assert ended.data["exit_code"] == 0
    assert ended.data["error"] is None
    assert ended.data["verdicts"] == {"passes": 1, "fails": 0, "inconclusive": 0}
    assert Path(ended.data["folder"], "journal.jsonl").is_file()
    assert {part["instrument"] for part in ended.data["safe_state"]} == {"generator", "supply", "load"}
    assert "step 1 of 3" in ended.err


def test_json_names_the_error_of_a_run_that_ended_early(benchctl: Command, tmp_path: Path) -> None:
    file = sequence(tmp_path, TONE, ("above: 95 A", "above: 10 A"))
    ended = benchctl("run", file, *ON_THE_SHIPPED_BENCH, "--dry-run", "--json", "--accept", "the limit is to trip")
    assert (ended.exit_code, ended.data["exit_code"]) == (4, 4)
    assert "supply_current above 10 A" in ended.data["error"]


def test_run_folders_are_made_where_out_says(benchctl: Command, tmp_path: Path) -> None:
    ended = benchctl("run", sequence(tmp_path), *ON_THE_SHIPPED_BENCH, "--dry-run", "--out", "kept/here")
    assert folder_named_in(ended).parent == Path("kept/here")
    assert not Path("runs").exists()


def test_a_dry_run_needs_nobody_for_what_a_run_would_ask_hands_for(benchctl: Command, tmp_path: Path) -> None:
    by_hand = bench(tmp_path, ("{by: supply, output: remote, voltage: 12 V}", "{by: hand}"))
    ended = benchctl("run", sequence(tmp_path), "-b", by_hand, "-a", "hx2150", "--dry-run")
    assert ended.exit_code == 0


@pytest.mark.parametrize("reason", ["", "  ", "-"])
def test_a_reason_that_says_nothing_is_refused(benchctl: Command, tmp_path: Path, reason: str) -> None:
    ended = benchctl("run", sequence(tmp_path), "-b", "workshop", "-a", "hx2150", "--dry-run", f"--accept={reason}")
    assert ended.exit_code == 2
    assert "no reason is given" in ended.err
