"""benchctl check: validate documents."""

from __future__ import annotations

import json

import click

from benchctl.cli.options import json_option
from benchctl.documents.reader import read_any
from benchctl.errors import DocumentError, Problem


@click.command(epilog="Example:  benchctl check mybench.yaml sequences/*.yaml")
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@json_option
def check(files: tuple[str, ...], as_json: bool) -> int:
    """Say what is wrong in a file, at which line.

    Takes sequence, bench, amplifier and driver files. Every fault of every file is listed as file:line:column, with
    what was found and what would be right. Nothing is touched and no instrument is asked.
    """
    problems = [problem for file in files for problem in _problems(file)]
    if as_json:
        click.echo(json.dumps([vars(problem) for problem in problems], indent=2))
    else:
        _print(files, problems)
    return DocumentError.exit_code if problems else 0


def _problems(file: str) -> tuple[Problem, ...]:
    try:
        read_any(file)
    except DocumentError as error:
        return error.problems
    return ()


def _print(files: tuple[str, ...], problems: list[Problem]) -> None:
    for problem in problems:
        click.echo(str(problem), err=True)
    wrong = f"{len(problems)} fault{'s' if len(problems) != 1 else ''}"
    click.echo(wrong if problems else f"{len(files)} file{'s' if len(files) != 1 else ''} in order", err=bool(problems))
