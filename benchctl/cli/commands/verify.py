"""benchctl verify: compute every figure of a run folder again."""

from __future__ import annotations

import json
from collections.abc import Iterator
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
    each that has no capture, and captures that no figure uses. It also tells what was changed after the run wrote it:
    lines of the journal, inputs, captures, the trend; and what cannot be checked. Exit code 0 if all agree and nothing
    was changed, else 1.
    """
    found = compute_again(run_folder)
    if as_json:
        click.echo(json.dumps(_as_data(found), indent=2))
    else:
        _print(found)
    return 0 if found.agrees else 1


def _print(found: Verification) -> None:
    for line in _lines(found):
        click.echo(line)
    click.echo(_last_line(found))


def _lines(found: Verification) -> Iterator[str]:
    findings = found.findings
    yield from findings.changed
    yield from map(str, found.differences)
    for figure in found.figures_without_capture:
        yield f"{figure}: its capture is missing"
    for file in found.unused_captures:
        yield f"{file}: no figure uses it"
    yield from findings.added
    if found.torn is not None:
        yield f"the journal's last line is torn: {found.torn[:60]!r}"
    for change in findings.accepted:
        yield f"accepted when the run was resumed: {change}"
    for reason in findings.unproven:
        yield f"cannot be checked: {reason}"


def _last_line(found: Verification) -> str:
    agree = "all agree" if found.figures_agree else "they do not all agree"
    changed = "" if not found.findings.changed else " The folder is not as the run left it; see above."
    running = " The run still goes on; this is what there is of it so far." if found.is_running else ""
    return f"{found.checked} figures computed again: {agree}.{changed}{running}"


def _as_data(found: Verification) -> dict[str, object]:
    return {
        "checked": found.checked,
        "differences": [str(difference) for difference in found.differences],
        "figures_without_capture": list(found.figures_without_capture),
        "unused_captures": list(found.unused_captures),
        "torn": found.torn,
        "is_running": found.is_running,
        "changed": list(found.findings.changed),
        "accepted": list(found.findings.accepted),
        "added": list(found.findings.added),
        "cannot_be_checked": list(found.findings.unproven),
        "agrees": found.agrees,
    }
