"""The last lines of a run that ended early: what stopped it, what is off, what is kept, and the command to go on."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from rich.text import Text

from benchctl.archive.journal.simulation import Simulation
from benchctl.cli.shown.closing_line import last_lines
from benchctl.cli.shown.kept import Kept
from benchctl.errors import BenchctlError, InstrumentError, LimitTripped, OperatorStop, RequirementFailed
from benchctl.guard.confirmation import Confirmation
from benchctl.launch.run import Result
from benchctl.runner.engine.execute import Outcome
from tests.cli.conftest import Command
from tests.cli.files import TONE, sequence

OFF = (Confirmation("generator", "output off", True), Confirmation("supply", "output 'main' off", True))
STUCK = (*OFF[:1], Confirmation("supply", "output 'main' off", False, "no answer in time"))
FOLDER = Path("runs") / "20261124-221003-quick check"
KEPT = Kept(FOLDER, figures=23, finished=4, steps=9, next_step="5 measure_burst")
TRIP = LimitTripped("supply_current", 97.0, "A", 12.3, "supply_current is 97 A at 12.3 s")


def words(
    error: BenchctlError | None, parts: tuple[Confirmation, ...] = OFF, tripped: tuple[str, ...] = ()
) -> list[str]:
    outcome = Outcome(error, (), (), parts, tripped_outputs=tripped)
    shown = last_lines(Result(outcome, FOLDER, Simulation()), KEPT)
    assert isinstance(shown, Text)
    return str(shown).splitlines()


@pytest.mark.parametrize(
    ("error", "first"),
    [
        (TRIP, "Stopped by a limit: supply_current is 97 A at 12.3 s."),
        (OperatorStop("stopped by Ctrl-C"), "Ended: stopped by Ctrl-C."),
        (InstrumentError("no answer", instrument="load", address="X"), "Failed: load at X: no answer."),
    ],
)
def test_they_say_why_that_all_is_off_what_is_kept_and_the_command(error: BenchctlError, first: str) -> None:
    assert words(error) == [
        first,
        "Every output is confirmed off.",
        "Kept: 23 figures; 4 of 9 steps are finished.",
        "To go on with step 5 of 9, 5 measure_burst: benchctl resume 'runs/20261124-221003-quick check'",
        "Run folder: runs/20261124-221003-quick check",
    ]


def test_what_is_not_off_is_named_first_and_nothing_says_that_all_is_off() -> None:
    lines = words(TRIP, STUCK)
    assert lines[0].startswith("NOT SAFE: supply: output 'main' off: NOT CONFIRMED (no answer in time). By hand, now: ")
    assert not any("confirmed off" in line for line in lines)


def test_an_end_that_the_sequence_asked_for_is_not_gone_on_with() -> None:
    assert not any("resume" in line for line in words(RequirementFailed("idle_current is 4 A")))


def test_a_protection_of_the_supply_is_named() -> None:
    assert "The supply's own protection (over-voltage or over-current) has switched its output 'main' off." in words(
        OperatorStop("stopped by Ctrl-C"), tripped=("main",)
    )


def test_it_is_named_once_where_it_is_what_ended_the_run() -> None:
    sentence = "the supply's own protection (over-voltage or over-current) has switched its output off, seen at 12.0 s"
    lines = words(LimitTripped("supply_protection", 1.0, "tripped", 12.0, sentence), tripped=("main",))
    assert sum("own protection" in line for line in lines) == 1


def test_a_run_that_finished_says_all_in_one_line() -> None:
    assert len(words(None)) == 1


def test_a_bench_of_which_nothing_was_asked_is_not_called_off() -> None:
    assert not any("confirmed off" in line for line in words(TRIP, ()))


def test_the_command_that_it_names_goes_on_with_the_run(benchctl: Command, tmp_path: Path) -> None:
    """The limit of 10 A stops the tone; the same run with a lower tone would not, but its documents are kept."""
    file = sequence(tmp_path, TONE, ("above: 95 A", "above: 10 A"))
    ended = benchctl("run", file, "-b", "workshop", "-a", "hx2150", "--dry-run", "--accept", "to see it trip")
    assert ended.exit_code == 4
    (line,) = [line for line in ended.out.splitlines() if line.startswith("To go on with step ")]
    command = re.search(r"benchctl resume (\S+)$", line)
    assert command
    again = benchctl("resume", command[1])
    assert again.exit_code == 4
    assert line.partition(":")[0] in again.out
