"""What came of computing every figure of a run again, in lines and as data."""

from __future__ import annotations

from collections.abc import Iterator

from benchctl.archive.verify import Verification
from benchctl.measure.method import METHOD, changes_since, methods_in_words


def verification_in_lines(found: Verification) -> Iterator[str]:
    """What is to be said of it; the last line sums it up."""
    yield from _lines(found)
    yield _last_line(found)


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


def verification_as_data(found: Verification) -> dict[str, object]:
    """The same for a program."""
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
