"""benchctl check: every fault of every file, each with line and column, and never a traceback."""

from __future__ import annotations

import base64
import random
import re
from pathlib import Path

import pytest

from tests.cli.conftest import Command
from tests.cli.files import IDLE, amplifier, bench, sequence, written

FAULT = re.compile(r"^(?P<file>.+?):(?P<line>\d+):(?P<column>\d+): (?P<message>.+)$")


def garbage(size: int) -> bytes:
    return random.Random(2150).randbytes(size)


def test_what_ships_is_in_order(benchctl: Command) -> None:
    ended = benchctl("check", "quick_check", "burst_and_continuous", "workshop", "hx2150", "supply/scpi99")
    assert (ended.exit_code, ended.out) == (0, "5 files in order\n")


@pytest.mark.parametrize(
    ("old", "new", "place", "says"),
    [
        ("voltage:", "voltag:", (5, 16), "did you mean 'voltage'?"),
        ("14.4 V", "14.4 A", (5, 25), "give V, mV, kV or dBV"),
        ("14.4 V", "14.4", (5, 25), "has no unit"),
        ("14.4 V", "14,4 V", (5, 28), "decimal comma"),
        ("14.4 V", "[14.4 V]", (5, 25), "a list"),
        ("voltage: 14.4 V", "voltage 14.4 V", (5, 16), "a colon is missing"),
        ("{voltage: 14.4 V, current_limit: 90 A}", "[14.4 V, 90 A]", (5, 15), "stands where the settings of"),
        ("power_on", "power_onn", (5, 5), "did you mean 'power_on'?"),
        ("  - power_off\n", "  - hold: {for: 1 s\n", (7, 11), "never closed"),
        ("  - power_off\n", "\t- power_off\n", (7, 1), "tab"),
        ("limits: {", "limits: {}\nlimits: {", (4, 1), "twice"),
        ("benchctl: sequence 1", "benchctl: sequence 9", (1, 11), "version 9 is not known"),
    ],
)
def test_a_fault_is_told_with_line_and_column_and_what_would_be_right(
    benchctl: Command, tmp_path: Path, *, old: str, new: str, place: tuple[int, int], says: str
) -> None:
    file = sequence(tmp_path, IDLE, (old, new))
    ended = benchctl("check", file)
    assert ended.exit_code == 2
    faults = [FAULT.match(line) for line in ended.err.splitlines()[:-1]]
    assert all(faults)
    told = [(int(fault["line"]), int(fault["column"])) for fault in faults if fault and says in fault["message"]]
    assert place in told, ended.err


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
def test_garbage_is_a_fault_with_line_and_column_and_not_a_traceback(
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


def test_the_faults_of_all_files_are_listed_at_once(benchctl: Command, tmp_path: Path) -> None:
    files = (
        sequence(tmp_path, IDLE, ("90 A", "90 V"), ("for: 1 s", "for: 1")),
        bench(tmp_path, ("driver: supply/scpi99", "driver: supply/scpi98")),
        amplifier(tmp_path, ("minimum: 10.5 V", "minimum: 15 V")),
    )
    ended = benchctl("check", *files)
    assert ended.exit_code == 2
    assert [sum(str(file) in line for line in ended.err.splitlines()) for file in files] == [2, 1, 1]
    assert ended.err.splitlines()[-1] == "4 faults"


def test_other_commands_tell_a_files_faults_the_same_way(benchctl: Command, tmp_path: Path) -> None:
    file = sequence(tmp_path, IDLE, ("90 A", "90 V"))
    faults = benchctl("check", file).err.splitlines()[:-1]
    for command in ("run", "preflight"):
        ended = benchctl(command, file, "-b", "workshop", "-a", "hx2150")
        assert (ended.exit_code, ended.err.splitlines()) == (2, faults)


def test_json_holds_file_line_column_and_message(benchctl: Command, tmp_path: Path) -> None:
    file = sequence(tmp_path, IDLE, ("90 A", "90 V"))
    ended = benchctl("check", file, "--json")
    assert ended.exit_code == 2
    (fault,) = ended.data
    assert (fault["file"], fault["line"], fault["column"]) == (str(file), 5, 48)
    assert "'V' will not do here" in fault["message"]
    assert benchctl("check", "quick_check", "--json").data == []


def test_a_file_that_is_not_there_is_named(benchctl: Command) -> None:
    ended = benchctl("check", "nowhere.yaml")
    assert ended.exit_code == 2
    assert "nowhere.yaml" in ended.err


def test_text_of_the_users_cannot_move_the_cursor_of_a_terminal(benchctl: Command, tmp_path: Path) -> None:
    file = written(tmp_path / "s.yaml", IDLE, ("14.4 V", '"14.4 \\e[2J V"'))
    assert "\x1b" not in benchctl("check", file).err
