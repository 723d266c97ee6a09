"""benchctl verify: compute every figure of a run folder again."""

from __future__ import annotations

import json
from pathlib import Path

import click

from benchctl.archive.verify import Verification
from benchctl.archive.verify import verify as compute_again
from benchctl.cli.options import json_option


@click.command(epilog="Example:  benchctl verify runs/20261124-221003-quick-check-hx-2150")
@click.argument("run_folder", type=click.Path(path_type=Path), metavar="RUN_FOLDER")
@json_option
def verify(run_folder: Path, as_json: bool) -> int:
    """Compute every figure of a run again.

    Works from the raw captures, and tells each figure that differs by more than one unit in its last stored place,
    each that has no capture, and captures that no figure uses. Exit code 0 if all agree, else 1.
    """
    found = compute_again(run_folder)
    if as_json:
        click.echo(json.dumps(_as_data(found), indent=2))
    else:
        _print(found)
    return 0 if found.agrees else 1


def _print(found: Verification) -> None:
    for difference in found.differences:
        click.echo(str(difference))
    for figure in found.figures_without_capture:
        click.echo(f"{figure}: its capture is missing")
    for file in found.unused_captures:
        click.echo(f"{file}: no figure uses it")
    if found.torn is not None:
        click.echo(f"the journal's last line is torn: {found.torn[:60]!r}")
    click.echo(f"{found.checked} figures computed again: {'all agree' if found.agrees else 'they do not all agree'}.")


def _as_data(found: Verification) -> dict[str, object]:
    return {
        "checked": found.checked,
        "differences": [str(difference) for difference in found.differences],
        "figures_without_capture": list(found.figures_without_capture),
        "unused_captures": list(found.unused_captures),
        "torn": found.torn,
        "agrees": found.agrees,
    }
