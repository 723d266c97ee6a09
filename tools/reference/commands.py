"""The reference of the commands, from the commands themselves, and of the exit codes."""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator

import click

from benchctl.cli.main import cli
from tools.reference.markdown import WRITTEN, code, codes, prose, table

_ABOUT = """\
# Commands

{written}`benchctl COMMAND --help` shows the same on a terminal. Where the command is not on the path, `python -m
benchctl` does the same. Files are given as paths; what ships is also found by its name, from any folder. How a command
ends is told by its [exit code](exit-codes.md).

"""

EXIT_CODES = {
    0: "all is well: the run finished and every verdict passes; the files are valid; the bench is in the safe state",
    1: "the run finished, and a verdict fails or is inconclusive, or instruments contradict each other; or a `require` "
    "ended it; or `verify` found a difference; or `reanalyse` turned a verdict; or `find` found no run",
    2: "a document or an option is wrong",
    3: "preflight refuses, or it warns and nobody has accepted that; nothing was energised",
    4: "a limit tripped",
    5: "an instrument, its link, a guardian or the run folder failed; or the safe state is not confirmed",
    6: "the operator stopped the run",
}
_EXIT_CODES = """\
# Exit codes

{written}The code says how a command ended. The last line that `benchctl run` prints says the same in words and names
the run folder; `--json` prints it for a program.

"""


def page() -> str:
    """The page of commands."""
    named = list(_commands(cli, "benchctl", click.Context(cli, info_name="benchctl")))
    rows = ((f"[{name}](#{name.replace(' ', '-')})", command.get_short_help_str(200)) for name, command, _ in named)
    head = _ABOUT.format(written=WRITTEN) + table(("command", "does"), rows)
    return (head + "".join(_section(*each) for each in named)).rstrip() + "\n"


def exit_codes() -> str:
    """The page of exit codes."""
    rows = ((str(number), meaning) for number, meaning in EXIT_CODES.items())
    return (_EXIT_CODES.format(written=WRITTEN) + table(("code", "means"), rows)).rstrip() + "\n"


def _commands(
    group: click.Group, path: str, context: click.Context
) -> Iterator[tuple[str, click.Command, click.Context]]:
    """Every command by its whole name, those of a group behind it."""
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        if command is None:
            continue
        inside = click.Context(command, info_name=name, parent=context)
        yield f"{path} {name}", command, inside
        if isinstance(command, click.Group):
            yield from _commands(command, f"{path} {name}", inside)


def _section(name: str, command: click.Command, context: click.Context) -> str:
    usage = " ".join([name, *command.collect_usage_pieces(context)])
    options = [option for option in command.params if isinstance(option, click.Option)]
    parts = (
        f"## {name}",
        code(usage),
        prose(inspect.cleandoc(command.help or "")),
        table(("option", "default", "does"), map(_option, options)),
        _example(command),
    )
    return "\n\n".join(part.rstrip() for part in parts if part) + "\n\n"


def _option(option: click.Option) -> tuple[str, str, str]:
    names = codes([*option.opts, *option.secondary_opts], "or")
    value = "" if option.is_flag else f" {code(option.make_metavar(click.Context(cli)))}"
    return names + value, _default(option), " ".join((option.help or "").split())


def _default(option: click.Option) -> str:
    if option.required:
        return "required"
    if not option.show_default or option.default in (None, ""):
        return ""
    return code(option.opts[0] if option.default is True else str(option.default))


def _example(command: click.Command) -> str:
    lines = re.findall(r"benchctl .*", command.epilog or "")
    return "\n".join(["For example:", "", "```text", *lines, "```"]) if lines else ""
