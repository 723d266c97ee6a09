"""benchctl verify: compute every figure of a run folder again."""

from __future__ import annotations

import json
from pathlib import Path

import click

from benchctl.cli.options import json_option, of_run_folder


@click.command(epilog="Example:  benchctl verify runs/20261124-221003-quick-check-hx-2150")
@of_run_folder()
@json_option
def verify(run_folder: Path, as_json: bool) -> int:
    """Compute every figure of a run again.

    Works from the raw captures, and tells each figure that differs by more than one unit in its last stored place,
    each that has no capture, and captures that no figure uses. It also tells what was changed after the run wrote it:
    lines of the journal, inputs, captures, the trend; and what cannot be checked. Figures that another version of the
    program computed by another method may come out differently; it names them, and what changed. Exit code 0 if all
    others agree and nothing was changed, else 1.
    """
    # Heavy, and `--help` needs none of it.
    from benchctl.archive.verify import verify as compute_again  # noqa: PLC0415
    from benchctl.cli.shown.folders.verification import verification_as_data, verification_in_lines  # noqa: PLC0415

    found = compute_again(run_folder)
    if as_json:
        click.echo(json.dumps(verification_as_data(found), indent=2))
    else:
        for line in verification_in_lines(found):
            click.echo(line)
    return 0 if found.agrees else 1
