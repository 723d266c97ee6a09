"""benchctl check: what documents say, or what is wrong in them."""

from __future__ import annotations

import json

import click

from benchctl.cli.options import json_option
from benchctl.errors import DocumentError


@click.command(epilog="Example:  benchctl check mybench.yaml sequences/*.yaml")
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@json_option
def check(files: tuple[str, ...], as_json: bool) -> int:
    """Say what a file describes, or what is wrong in it, at which line.

    Takes sequence, bench, amplifier and driver files. Of a file in order it tells in a few lines what it says. Every
    fault of every other file is listed as file:line:column, with the line itself, what was found and what would be
    right. Nothing is touched and no instrument is asked.
    """
    # Heavy, and `--help` needs none of it.
    from benchctl.cli.shown.check import as_data, described, in_all, look  # noqa: PLC0415
    from benchctl.cli.shown.problems import problem_lines  # noqa: PLC0415

    looked_at = [look(file) for file in files]
    problems = [problem for _, _, found in looked_at for problem in found]
    if as_json:
        click.echo(json.dumps(as_data(looked_at), indent=2))
        return DocumentError.exit_code if problems else 0
    for file, about, found in looked_at:
        if about is not None:
            click.echo("\n".join(described(file, about)))
        for problem in found:
            click.echo("\n".join(problem_lines(problem)), err=True)
    click.echo(in_all(files, problems), err=bool(problems))
    return DocumentError.exit_code if problems else 0
