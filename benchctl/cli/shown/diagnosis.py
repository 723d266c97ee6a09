"""A diagnosis as plain text and as data."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from benchctl.fit.diagnosis.diagnosing import diagnose
from benchctl.fit.diagnosis.named import Diagnosis, Named
from benchctl.fit.examination import Examination


def diagnosis_lines(found: Examination, before: Examination | None) -> Iterator[str]:
    """What aged or failed, the strongest evidence first."""
    if before is not None:
        yield f"Held against the run {before.run.name}."
        if other := _other_unit(found, before):
            yield f"Note: that run was of {other}, so what differs need not have aged."
    told = diagnose(found, before)
    yield f"Diagnosis: {told.first_sentence}."
    for number, named in enumerate(told.named, start=1):
        yield from _of_named(number, named)
    for unseen in (*told.hidden, *found.unseen):
        yield f"Not seen: {unseen.words}, for {unseen.why}."
    yield from _listed("May have changed, but chance is not ruled out:", told.perhaps)
    yield from _listed("Has changed, but too little to be a sign of age:", told.small)
    yield from _listed("No change seen beyond the uncertainty of both runs:", told.unchanged)
    if before is not None:
        yield from _listed("Told, but the earlier run does not tell it, so it is held against nothing:", told.alone)
    elif told.alone:
        yield "What the fit tells below is held against no earlier run; name one with --before."


def _other_unit(found: Examination, before: Examination) -> str:
    """The unit of the earlier run, where it is known to be another one."""
    if before.run.amplifier.title != found.run.amplifier.title:
        return str(before.run.amplifier.title)
    serial, earlier = found.run.serial, before.run.serial
    return f"another unit, serial number {earlier}" if serial and earlier and serial != earlier else ""


def _of_named(number: int, named: Named) -> Iterator[str]:
    sure = "" if math.isinf(named.times) else f", off by {named.times:.3g} times the uncertainty (k = 2)"
    yield f"  {number}. {named.sentence}"
    yield f"     held against {' and '.join(named.against)}{sure}"
    for sentence in named.also:
        yield f"     also: {sentence}"
    if named.confused:
        yield f"     could be confused with: {named.confused}"
    if named.decides:
        yield f"     would decide: {named.decides}"


def _listed(heading: str, lines: tuple[str, ...]) -> Iterator[str]:
    if lines:
        yield heading
        yield from (f"  {line}" for line in lines)


def diagnosis_as_data(found: Examination, before: Examination | None) -> dict[str, Any]:
    """The same, for other programs."""
    told: Diagnosis = diagnose(found, before)
    return {
        "first_sentence": told.first_sentence,
        "named": [
            {
                "cause": named.cause,
                "channel": named.channel,
                "sentence": named.sentence,
                "times_uncertainty": None if math.isinf(named.times) else round(named.times, 2),
                "against": list(named.against),
                "goes_with_it": list(named.also),
                "could_be": named.confused,
                "would_decide": named.decides,
            }
            for named in told.named
        ],
        "small": list(told.small),
        "perhaps": list(told.perhaps),
        "unchanged": list(told.unchanged),
        "held_against_nothing": list(told.alone),
        "untold": [{"cause": each.cause, "what": each.words, "why": each.why} for each in told.untold],
    }
