"""An instrument that cannot confirm that it is off is named in red with what to do by hand: in the closing tables, in
the exit line, and for whoever reads JSON."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from rich.console import Console

from benchctl.cli.shown.tables import closing_tables
from benchctl.documents.reader import load_amplifier
from benchctl.guard.confirmation import Confirmation
from tests.cli.conftest import Command, Finished
from tests.cli.files import IDLE, bench, sequence

STUCK = ("  seed: 2150", "  seed: 2150\n  faults: [{kind: output stuck, instrument: supply, at: 1 s}]")
BY_HAND = "open the switch in the supply lead, or switch the supply off at its front panel"
SEEN = Confirmation("supply", "output 'main' off", confirmed=False, detail="no answer in time")
RED = "\x1b[1;31m"


def run_with_a_stuck_supply(benchctl: Command, folder: Path, *options: str) -> Finished:
    arguments = ("-b", bench(folder, STUCK), "-a", "hx2150", "--dry-run", *options)
    return benchctl("run", sequence(folder, IDLE), *arguments)


def test_the_exit_line_and_the_closing_tables_name_it_and_what_to_do_by_hand(benchctl: Command, tmp_path: Path) -> None:
    ended = run_with_a_stuck_supply(benchctl, tmp_path)
    assert ended.exit_code == 5
    lines = [line.rstrip() for line in ended.out.splitlines()]
    table = lines.index("NOT SAFE: to be switched off by hand, now")
    (row,) = [line for line in lines[table:] if line.startswith("│ supply")]
    assert "output 'main' off" in row
    (told,) = [line for line in lines if line.startswith("NOT SAFE: supply: output 'main' off: NOT CONFIRMED")]
    *_, last = lines
    assert told.endswith(f"By hand, now: {BY_HAND}.")
    assert "Run folder: " in last


def test_a_run_whose_output_goes_to_a_program_tells_the_person_all_the_same(benchctl: Command, tmp_path: Path) -> None:
    ended = run_with_a_stuck_supply(benchctl, tmp_path, "--json")
    assert ended.data["exit_code"] == 5
    (missing,) = [part for part in ended.data["safe_state"] if not part["confirmed"]]
    assert (missing["instrument"], missing["by_hand"]) == ("supply", BY_HAND)
    assert f"By hand, now: {BY_HAND}." in ended.err


@pytest.mark.parametrize("width", [60, 100])
def test_the_table_is_red_and_says_everything_at_any_width(width: int) -> None:
    console = Console(
        file=io.StringIO(), width=width, force_terminal=True, color_system="standard", legacy_windows=False
    )
    console.print(closing_tables([], load_amplifier("hx2150"), [SEEN, Confirmation("load", "disconnected", True)]))
    assert isinstance(console.file, io.StringIO)
    lines = console.file.getvalue().splitlines()
    assert all(line.startswith(RED) for line in lines)
    words = " ".join(" ".join(lines).replace("│", " ").split())
    for word in (*["front", "panel", "by", "hand", "supply", "main"], "no answer"):
        assert word in words
    assert "disconnected" not in words


def test_where_everything_is_off_there_is_no_such_table(benchctl: Command, tmp_path: Path) -> None:
    ended = benchctl("run", sequence(tmp_path, IDLE), "-b", "workshop", "-a", "hx2150", "--dry-run")
    assert ended.exit_code == 0
    assert "NOT SAFE" not in ended.out + ended.err
