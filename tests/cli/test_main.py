"""The command as a whole: its help is quick and true, and every mistake has its exit code."""

from __future__ import annotations

import errno
import re
import shlex
import subprocess
import sys
from importlib.metadata import version

import click
import pytest

from benchctl.cli.lazy import CommandEntry
from benchctl.cli.main import cli
from tests.cli.conftest import Command

CONTEXT = click.Context(cli)
COMMANDS = {name: cli.get_command(CONTEXT, name) for name in cli.list_commands(CONTEXT)}
each_command = pytest.mark.parametrize("name", COMMANDS)


def command(name: str) -> click.Command:
    found = COMMANDS[name]
    assert found is not None
    return found


def examples(name: str) -> list[list[str]]:
    """The arguments of each command line in a command's epilog."""
    return [shlex.split(line)[1:] for line in re.findall(r"benchctl .*", command(name).epilog or "")]


def test_help_lists_every_command_and_every_exit_code(benchctl: Command) -> None:
    shown = benchctl("--help")
    assert shown.exit_code == 0
    assert all(f"\n  {name} " in shown.out for name in COMMANDS)
    assert all(f"  {code}  " in shown.out for code in range(7))


def packages_loaded_by(arguments: list[str]) -> set[str]:
    """The heavy packages that a command loads."""
    program = (
        "import sys; from benchctl.cli.main import cli; cli.main(sys.argv[1:], standalone_mode=False); "
        "sys.exit(' '.join({'numpy', 'pydantic', 'pyvisa', 'rich', 'pandas', 'matplotlib'} & set(sys.modules)))"
    )
    shown = subprocess.run(
        [sys.executable, "-c", program, *arguments], capture_output=True, text=True, timeout=60, check=False
    )
    return set(shown.stderr.split())


@pytest.mark.parametrize("arguments", [["--help"], ["run", "--help"], ["resume", "--help"], ["preflight", "--help"]])
def test_help_waits_for_no_package_that_only_a_run_needs(arguments: list[str]) -> None:
    """A second of imports on every --help is a second too much."""
    assert packages_loaded_by(arguments) == set()


def test_preflight_waits_for_no_package_that_reaches_instruments_or_computes_with_tables() -> None:
    loaded = packages_loaded_by(["preflight", "quick_check", "--bench", "workshop", "--amplifier", "hx2150", "--json"])
    assert loaded == {"numpy", "pydantic", "rich"}


def test_the_package_can_be_run_as_the_command() -> None:
    shown = subprocess.run(
        [sys.executable, "-m", "benchctl", "--version"], capture_output=True, text=True, timeout=60, check=False
    )
    assert (shown.returncode, shown.stdout) == (0, f"python -m benchctl, version {version('benchctl')}\n")


@each_command
def test_the_short_help_is_the_first_line_of_the_long_one(name: str) -> None:
    first_line, *_ = (command(name).help or "").splitlines()
    assert cli.entries[name].short_help == first_line  # type: ignore[attr-defined]


@each_command
def test_help_of_a_command_shows_an_example_that_its_own_options_accept(name: str, benchctl: Command) -> None:
    assert "benchctl " + name in benchctl(name, "--help").out
    for example in examples(name):
        assert example[0] == name
        command(name).make_context(name, example[1:])


@each_command
def test_every_argument_and_option_says_what_it_is(name: str) -> None:
    for parameter in command(name).params:
        said = parameter.help if isinstance(parameter, click.Option) else parameter.metavar
        assert said, f"{name} {parameter.name}"


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["rum"], "No such command 'rum'"),
        (["run"], "Missing argument 'SEQUENCE'"),
        (["run", "quick_check", "--bench", "workshop"], "Missing option '--amplifier'"),
        (["run", "quick_check", "--dry"], "--dry-run"),
        (["check"], "Missing argument"),
        (["check", "--yaml", "x"], "No such option"),
        (["run", "quick_chek", "-b", "workshop", "-a", "hx2150"], "quick_check"),
        (["run", "quick_check", "-b", "workshp", "-a", "hx2150"], "workshop"),
        (["run", "quick_check", "-b", "hx2150", "-a", "workshop"], "nothing of that name ships; among the"),
    ],
)
def test_a_wrong_command_line_gives_exit_code_2_and_says_what_would_be_right(
    benchctl: Command, arguments: list[str], says: str
) -> None:
    ended = benchctl(*arguments)
    assert ended.exit_code == 2
    assert says in ended.err
    assert ended.out == ""


def test_the_version_is_the_packages(benchctl: Command) -> None:
    assert version("benchctl") in benchctl("--version").out


def test_ctrl_c_before_anything_is_energised_gives_exit_code_6(
    benchctl: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("benchctl.cli.shown.check.read_any", interrupted)
    ended = benchctl("check", "quick_check")
    assert ended.exit_code == 6
    assert "Stopped by the operator" in ended.err


def test_a_fault_of_the_program_is_not_taken_for_a_verdict_that_fails(
    benchctl: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Python's own exit code for it, 1, would say that a run had finished."""

    def broken(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("benchctl.cli.shown.check.read_any", broken)
    ended = benchctl("check", "quick_check")
    assert ended.exit_code == 5
    assert "ZeroDivisionError" in ended.err
    assert "an error in benchctl itself" in ended.err


@click.command
def losing_a_socket() -> int:
    """A command in which a pipe breaks that is not an output."""
    raise BrokenPipeError(errno.EPIPE, "Broken pipe")


def test_a_pipe_that_breaks_elsewhere_than_at_the_output_is_no_verdict(
    benchctl: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    """click takes it for a closed output and ends with exit code 1, which would say that a verdict does not pass."""
    monkeypatch.setitem(cli.entries, "check", CommandEntry(f"{__name__}:losing_a_socket", ""))  # type: ignore[attr-defined]
    ended = benchctl("check")
    assert ended.exit_code == 5
    assert "This is an error in benchctl itself." in ended.err
