"""benchctl verify: compute every figure of a run folder again."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import click

from benchctl.archive.verify import Verification
from benchctl.archive.verify import verify as compute_again
from benchctl.cli.options import json_option
from benchctl.measure.method import METHOD, changes_since, methods_in_words


@click.command(epilog="Example:  benchctl verify runs/20261124-221003-quick-check-hx-2150")
@click.argument("run_folder", type=click.Path(path_type=Path), metavar="RUN_FOLDER")
@json_option
def verify(run_folder: Path, as_json: bool) -> int:
    """Compute every figure of a run again.

    Works from the raw captures, and tells each figure that differs by more than one unit in its last stored place,
    each that has no capture, and captures that no figure uses. It also tells what was changed after the run wrote it:
    lines of the journal, inputs, captures, the trend; and what cannot be checked. Figures that another version of the
    program computed by another method may come out differently; it names them, and what changed. Exit code 0 if all
    others agree and nothing was changed, else 1.
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
    for difference in found.of_method:
        yield f"computed by another method: {difference}"
    yield from _changes(found)
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


def _changes(found: Verification) -> Iterator[str]:
    """What changed in how figures are computed since the run, of those that come out differently."""
    if not found.of_method or min(found.methods) >= METHOD:
        return
    for number, change in changes_since(min(found.methods), {each.figure.split()[0] for each in found.of_method}):
        yield f"changed with method {number}: {change.says}"


def _method(found: Verification) -> str:
    """By which method the folder was made, where that is not the one of this version."""
    if set(found.methods) <= {METHOD}:
        return ""
    which = f"method{'s' if len(found.methods) > 1 else ''} {methods_in_words(found.methods)}"
    if max(found.methods) > METHOD:
        made = f" The run was made by a later version of benchctl ({which}; this version: method {METHOD})."
    else:
        made = f" The run was made by an earlier version of benchctl ({which}; this version: method {METHOD})."
    if not found.of_method:
        return made
    count = f"{made} Values that may differ for that reason: {len(found.of_method)}"
    return f"{count}." if found.findings.changed else f"{count}; nobody has altered them."


def _last_line(found: Verification) -> str:
    others = "all others" if found.of_method else "all"
    agree = (
        f"{others} agree" if found.figures_agree else f"{'the others' if found.of_method else 'they'} do not all agree"
    )
    changed = "" if not found.findings.changed else " The folder is not as the run left it; see above."
    running = " The run still goes on; this is what there is of it so far." if found.is_running else ""
    return f"{found.checked} figures computed again: {agree}.{_method(found)}{changed}{running}"


def _as_data(found: Verification) -> dict[str, object]:
    return {
        "checked": found.checked,
        "differences": [str(difference) for difference in found.differences],
        "method": METHOD,
        "methods": list(found.methods),
        "computed_by_another_method": [str(difference) for difference in found.of_method],
        "changed_with_the_method": list(_changes(found)),
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
