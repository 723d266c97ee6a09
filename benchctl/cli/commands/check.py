"""benchctl check: what documents say, or what is wrong in them."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Iterator, Sequence

import click
from rich.console import Console

from benchctl.cli.options import json_option
from benchctl.cli.shown.problems import problem_lines
from benchctl.documents.reader import read_any
from benchctl.documents.summary import Summary, summary
from benchctl.errors import DocumentError, Problem

# Where there is no terminal to fit into.
WIDTH_WITHOUT_TERMINAL = 120
_NARROWEST = 30


@click.command(epilog="Example:  benchctl check mybench.yaml sequences/*.yaml")
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@json_option
def check(files: tuple[str, ...], as_json: bool) -> int:
    """Say what a file describes, or what is wrong in it, at which line.

    Takes sequence, bench, amplifier and driver files. Of a file in order it tells in a few lines what it says. Every
    fault of every other file is listed as file:line:column, with the line itself, what was found and what would be
    right. Nothing is touched and no instrument is asked.
    """
    looked_at = [(file, *_look(file)) for file in files]
    problems = [problem for _, _, found in looked_at for problem in found]
    if as_json:
        click.echo(json.dumps(_as_data(looked_at), indent=2))
        return DocumentError.exit_code if problems else 0
    for file, about, found in looked_at:
        if about is not None:
            click.echo("\n".join(_described(file, about)))
        for problem in found:
            click.echo("\n".join(problem_lines(problem)), err=True)
    click.echo(_in_all(files, problems), err=bool(problems))
    return DocumentError.exit_code if problems else 0


def _look(file: str) -> tuple[Summary | None, tuple[Problem, ...]]:
    """What a file says, or its problems."""
    try:
        return summary(read_any(file)), ()
    except DocumentError as error:
        return None, error.problems


def _described(file: str, about: Summary) -> Iterator[str]:
    """The file's kind and title, and a row a line under them, the name of several like rows once."""
    yield f"{file}: {about.kind} '{about.title}'"
    width = max((len(name) for name, _ in about.rows), default=0)
    last = ""
    for name, text in about.rows:
        yield from _wrapped(f"  {'' if name == last else name:<{width}}  ", text)
        last = name


def _wrapped(beginning: str, text: str) -> list[str]:
    """Text that begins behind `beginning` and goes on under itself, as wide as the terminal."""
    console = Console()
    width = console.width if console.is_terminal else WIDTH_WITHOUT_TERMINAL
    indent = " " * len(beginning)
    width = max(width, len(beginning) + _NARROWEST)
    return textwrap.wrap(text, width, initial_indent=beginning, subsequent_indent=indent)


def _in_all(files: Sequence[str], problems: Sequence[Problem]) -> str:
    if problems:
        return f"{len(problems)} problem{'s' if len(problems) != 1 else ''}"
    return f"{len(files)} files are valid" if len(files) != 1 else "1 file is valid"


def _as_data(looked_at: Sequence[tuple[str, Summary | None, tuple[Problem, ...]]]) -> dict[str, object]:
    return {
        "files": [
            {"file": file, "kind": about.kind, "title": about.title, "says": about.by_name()}
            for file, about, _ in looked_at
            if about is not None
        ],
        "problems": [vars(problem) for _, _, found in looked_at for problem in found],
    }
