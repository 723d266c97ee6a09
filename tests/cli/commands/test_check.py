"""benchctl check: every problem of every file, each with line and column, and never a traceback."""

from __future__ import annotations

import base64
import random
import re
from pathlib import Path

import pytest

from benchctl import library
from tests.cli.conftest import Command
from tests.cli.files import IDLE, amplifier, bench, sequence, written

FAULT = re.compile(r"^(?P<file>.+?):(?P<line>\d+):(?P<column>\d+): (?P<message>.+)$")


def garbage(size: int) -> bytes:
    return random.Random(2150).randbytes(size)


def test_what_ships_is_valid(benchctl: Command) -> None:
    ended = benchctl("check", "quick_check", "burst_and_continuous", "workshop", "hx2150", "supply/scpi99")
    assert (ended.exit_code, ended.err) == (0, "")
    assert ended.out.splitlines()[-1] == "5 files are valid"


def said(benchctl: Command, file: str | Path) -> str:
    """What the command tells of a valid file, each gap as one space."""
    ended = benchctl("check", file)
    assert ended.exit_code == 0
    return re.sub(r"\s+", " ", ended.out)


@pytest.mark.parametrize(
    ("file", "says"),
    [
        ("quick_check", "sequence 'Quick check'"),
        ("quick_check", "purpose In under a minute: is the amplifier alive"),
        ("quick_check", "parameter frequency = 1 kHz (20 Hz to 20 kHz): the frequency of every burst and drive"),
        ("quick_check", "current_limit = amplifier.supply.fuse (in A): the current limit of the supply"),
        ("quick_check", "to set one --set frequency=1kHz"),
        ("quick_check", "steps power_on, measure_idle, set, measure_burst, find_clean_level"),
        ("quick_check", "in all 7 steps"),
        (
            "quick_check",
            "needs generator, oscilloscope, load, supply, thermometer; every output on an oscilloscope channel",
        ),
        ("quick_check", "limit supply_current above amplifier.supply.fuse, for 10 s"),
        ("burst_and_continuous", "sweep load amplifier.rated_loads, frequency frequency (cool, measure_burst,"),
        (
            "burst_and_continuous",
            "in all 8 steps when sweeps and repeats are written out, on an amplifier with one rated",
        ),
        ("first_power_up", "10 times (hold, measure_idle)"),
        ("first_power_up", "a sensor on the heatsink; hands"),
        ("workshop", "bench 'Bench 2 of the ferry-amplifier workshop'"),
        (
            "workshop",
            "oscilloscope 12 bits, 50 MSa/s, 1,000,000 samples, inputs to 300 V; oscilloscope/preamble_list at",
        ),
        ("workshop", "supply current on oscilloscope channel 3 by a clamp, 10 mV/A, to 200 A"),
        ("workshop", "loads at output A: 4 ohm 600 W, 2 ohm 1 kW at output B:"),
        ("workshop", "turn-on lead 12 V by the supply's output 'remote'"),
        ("workshop", "limit supply_current above 110 A for 500 ms load above 180 degC"),
        ("hx2150", "rated 150 W into 4 ohm at each channel, all of them driven, at 1 % distortion 250 W into 2 ohm"),
        ("hx2150", "outputs 2 channels A and B, grounded; no load below 2 ohm"),
        ("hx2150", "supply 14.4 V (10.5 V to 16 V), fuse 80 A, unregulated rails"),
        ("supply/scpi99", "role supply commands 14: set_voltage, get_voltage"),
        ("supply/scpi99", "left out prepare"),
        ("supply/scpi99", "as usual reset, identify, errors, power_cycled of SCPI"),
    ],
)
def test_a_valid_file_is_told_in_a_few_lines(benchctl: Command, file: str, says: str) -> None:
    assert says in said(benchctl, file)


@pytest.mark.parametrize("shelf", ["sequences", "benches", "amplifiers", "drivers"])
def test_whatever_ships_can_be_told_on_less_than_a_screen(benchctl: Command, shelf: library.Shelf) -> None:
    for name, path in library.shipped(shelf).items():
        lines = benchctl("check", path).out.splitlines()
        assert 3 < len(lines) <= 40, name
        assert all(len(line) <= 120 for line in lines[1:]), name


@pytest.mark.parametrize(
    ("old", "new", "place", "says"),
    [
        ("voltage:", "voltag:", (5, 16), "did you mean 'voltage'?"),
        ("14.4 V", "14.4 A", (5, 25), "give V, mV, kV or dBV"),
        ("14.4 V", "14.4", (5, 25), "has no unit"),
        ("14.4 V", "14,4 V", (5, 28), "decimal comma"),
        ("14.4 V", "[14.4 V]", (5, 25), "a list"),
        ("voltage: 14.4 V", "voltage 14.4 V", (5, 16), "a colon is missing"),
        ("{voltage: 14.4 V, current_limit: 90 A}", "[14.4 V, 90 A]", (5, 15), "is written where the settings of"),
        ("power_on", "power_onn", (5, 5), "did you mean 'power_on'?"),
        ("  - power_off\n", "  - hold: {for: 1 s\n", (7, 11), "never closed"),
        ("  - power_off\n", "\t- power_off\n", (7, 1), "tab"),
        ("limits: {", "limits: {}\nlimits: {", (4, 1), "twice"),
        ("benchctl: sequence 1", "benchctl: sequence 9", (1, 11), "version 9 is not known"),
    ],
)
def test_a_problem_is_told_with_line_and_column_and_what_would_be_right(
    benchctl: Command, tmp_path: Path, *, old: str, new: str, place: tuple[int, int], says: str
) -> None:
    file = sequence(tmp_path, IDLE, (old, new))
    ended = benchctl("check", file)
    assert ended.exit_code == 2
    problems = [problem for line in ended.err.splitlines() if (problem := FAULT.match(line))]
    told = [(int(problem["line"]), int(problem["column"])) for problem in problems if says in problem["message"]]
    assert place in told, ended.err


def test_the_line_of_a_problem_is_shown_with_a_caret_under_the_place(benchctl: Command, tmp_path: Path) -> None:
    file = sequence(tmp_path, IDLE, ("14.4 V", "14.4 A"))
    _, shown, caret, *_ = benchctl("check", file).err.splitlines()
    assert shown == "     5 |   - power_on: {voltage: 14.4 A, current_limit: 90 A}"
    assert caret.strip(" |") == "^"
    assert shown[caret.index("^") :].startswith("14.4 A,")


def test_a_line_too_long_to_show_is_shown_around_the_place(benchctl: Command, tmp_path: Path) -> None:
    """A line of a thousand characters with its problem in the middle, and a tab, which would move the caret."""
    padding = f"notes: {'x' * 490}, "
    file = sequence(tmp_path, IDLE, ("{voltage: 14.4 V", f"{{{padding}voltage: 14.4 A, more: {'y' * 490}"))
    lines = benchctl("check", file).err.splitlines()
    place = next(number for number, line in enumerate(lines) if "'A' is not accepted here" in line)
    _, shown, caret = lines[place : place + 3]
    assert len(shown) < 120
    assert shown[caret.index("^") :].startswith("14.4 A,")


@pytest.mark.parametrize(
    "content",
    [
        garbage(1_000_000),
        base64.b64encode(garbage(750_000)),
        base64.encodebytes(garbage(60_000)),
        b"{" * 90_000,
        b"- " * 45_000,
        b"a: &a [" + b"*a, " * 20_000 + b"]",
        b"\x00" * 10,
        b"",
    ],
    ids=["1 MB of bytes", "1 MB of text", "lines of text", "braces", "dashes", "aliases", "nulls", "nothing"],
)
def test_garbage_is_a_problem_with_line_and_column_and_not_a_traceback(
    benchctl: Command, tmp_path: Path, content: bytes
) -> None:
    file = tmp_path / "garbage.yaml"
    file.write_bytes(content)
    ended = benchctl("check", file)
    assert ended.exit_code == 2
    first_line, *_ = ended.err.splitlines()
    assert FAULT.match(first_line)
    assert "Traceback" not in ended.err
    assert len(ended.err) < 20_000, "nobody reads that much"


def test_the_problems_of_all_files_are_listed_at_once(benchctl: Command, tmp_path: Path) -> None:
    files = (
        sequence(tmp_path, IDLE, ("90 A", "90 V"), ("for: 1 s", "for: 1")),
        bench(tmp_path, ("driver: supply/scpi99_watchdog", "driver: supply/scpi98")),
        amplifier(tmp_path, ("minimum: 10.5 V", "minimum: 15 V")),
    )
    ended = benchctl("check", *files)
    assert ended.exit_code == 2
    assert [sum(str(file) in line for line in ended.err.splitlines()) for file in files] == [2, 1, 1]
    assert ended.err.splitlines()[-1] == "4 problems"


def test_other_commands_tell_a_files_problems_the_same_way(benchctl: Command, tmp_path: Path) -> None:
    file = sequence(tmp_path, IDLE, ("90 A", "90 V"))
    problems = benchctl("check", file).err.splitlines()[:-1]
    for command in ("run", "preflight"):
        ended = benchctl(command, file, "-b", "workshop", "-a", "hx2150")
        assert (ended.exit_code, ended.err.splitlines()) == (2, problems)


def test_json_holds_file_line_column_and_message(benchctl: Command, tmp_path: Path) -> None:
    file = sequence(tmp_path, IDLE, ("90 A", "90 V"))
    ended = benchctl("check", file, "--json")
    assert ended.exit_code == 2
    (problem,) = ended.data["problems"]
    assert (problem["file"], problem["line"], problem["column"]) == (str(file), 5, 48)
    assert "'V' is not accepted here" in problem["message"]
    assert problem["source_line"] == "  - power_on: {voltage: 14.4 V, current_limit: 90 V}"


def test_json_holds_what_a_valid_file_says(benchctl: Command) -> None:
    data = benchctl("check", "quick_check", "--json").data
    assert data["problems"] == []
    (file,) = data["files"]
    assert (file["file"], file["kind"], file["title"]) == ("quick_check", "sequence", "Quick check")
    assert file["says"]["in all"] == ["7 steps when sweeps and repeats are written out"]
    assert len(file["says"]["parameter"]) == 2


def test_a_file_that_is_not_there_is_named(benchctl: Command) -> None:
    ended = benchctl("check", "nowhere.yaml")
    assert ended.exit_code == 2
    assert "nowhere.yaml" in ended.err


def test_text_of_the_users_cannot_move_the_cursor_of_a_terminal(benchctl: Command, tmp_path: Path) -> None:
    file = written(tmp_path / "s.yaml", IDLE, ("14.4 V", '"14.4 \\e[2J V"'))
    assert "\x1b" not in benchctl("check", file).err
