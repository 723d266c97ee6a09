"""What a fit tells, as plain text and as data."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from benchctl.cli.shown.diagnosis import diagnosis_as_data, diagnosis_lines
from benchctl.fit.examination import Examination
from benchctl.fit.findings import misfit_in_words, quantity_in_words
from benchctl.fit.since import changes

MOST_MISFITS = 6


def in_words(found: Examination, before: Examination | None = None) -> str:
    """All of it; with an earlier run, also what has changed since."""
    return "\n".join((*_title(found), *diagnosis_lines(found, before), *_lines(found)))


def _title(found: Examination) -> Iterator[str]:
    simulated = " Simulated, no measurement." if found.run.is_simulated else ""
    yield f"{found.run.amplifier.title}, run {found.run.name}.{simulated}"
    for reason in found.run.left_out:
        yield f"Not used: {reason}."


def _lines(found: Examination) -> Iterator[str]:
    if found.no_fit:
        yield f"No fit: {found.no_fit}."
    told = [quantity for quantity in found.quantities if quantity.is_told]
    if told:
        yield f"Told by the {'fit' if not found.no_fit else 'warming of the heatsink'} (k = 2):"
        rows = [(quantity.words, quantity_in_words(quantity)) for quantity in told]
        width = max(len(words) for words, _ in rows)
        yield from (f"  {words:<{width}}  {value}" for words, value in rows)
    yield from _untold(found)
    yield from _misfits(found)


def _untold(found: Examination) -> Iterator[str]:
    """What has one reason in common stands under it."""
    reasons = list(dict.fromkeys(quantity.untold for quantity in found.quantities if quantity.untold))
    for reason in reasons:
        yield f"Untold, because {reason}:"
        yield from (f"  {quantity.words}" for quantity in found.quantities if quantity.untold == reason)


def _misfits(found: Examination) -> Iterator[str]:
    for misfit in found.left_out:
        yield f"Left out of the fit: {misfit_in_words(misfit)}."
    misfits = [misfit for misfit in found.misfits if misfit not in found.left_out]
    if misfits:
        yield "Does not fit, beyond chance; the uncertainties above are wider for it:"
        yield from (f"  {misfit_in_words(misfit)}" for misfit in misfits[:MOST_MISFITS])
        if len(misfits) > MOST_MISFITS:
            yield f"  and {len(misfits) - MOST_MISFITS} more"


def as_data(found: Examination, before: Examination | None = None) -> dict[str, Any]:
    """The same, for other programs."""
    since = {} if before is None else {"before": before.run.name, "changes": _changes_as_data(before, found)}
    return since | {
        "diagnosis": diagnosis_as_data(found, before),
        "run": found.run.name,
        "amplifier": found.run.amplifier.title,
        "simulated": found.run.is_simulated,
        "not_used": list(found.run.left_out),
        "findings": [
            {"kind": finding.kind, "channel": finding.channel, "sentence": finding.sentence}
            for finding in found.findings
        ],
        "no_fit": found.no_fit,
        "quantities": [
            {
                "name": quantity.name,
                "channel": quantity.channel,
                "unit": quantity.unit,
                "value": quantity.value if quantity.is_told else None,
                "expanded_uncertainty": quantity.expanded_uncertainty if quantity.is_told else None,
                "untold": quantity.untold,
            }
            for quantity in found.quantities
        ],
        "left_out": [misfit_in_words(misfit) for misfit in found.left_out],
        "misfits": [
            {"record": misfit.take.file, "signal": misfit.signal, "mean_square": round(misfit.mean_square, 2)}
            for misfit in found.misfits
        ],
    }


def _changes_as_data(before: Examination, found: Examination) -> list[dict[str, Any]]:
    return [
        {
            "name": change.quantity.name,
            "channel": change.quantity.channel,
            "before": change.before.value,
            "after": change.quantity.value,
            "times_uncertainty": round(change.times, 2),
            "sentence": change.sentence,
        }
        for change in changes(before, found)
    ]
