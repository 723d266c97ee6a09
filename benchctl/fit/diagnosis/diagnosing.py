"""From what one run tells, and perhaps an earlier one, to what aged or failed.

Nothing is named that both uncertainties allow. What goes with a stronger cause stands with it, and not as a cause of
its own. What the run does not tell is listed as untold, never as sound.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from benchctl.fit.diagnosis.advice import ADVICE, DEAD, GOES_WITH, HIDDEN, NONE
from benchctl.fit.diagnosis.named import Diagnosis, Named
from benchctl.fit.diagnosis.plate import off_plate
from benchctl.fit.diagnosis.since_earlier import (
    cause_of,
    changes_since,
    fitted_of,
    is_certain,
    matters,
    named_of,
    rail_since,
    unchanged_words,
)
from benchctl.fit.evidence import Finding
from benchctl.fit.examination import Examination
from benchctl.fit.since import Change
from benchctl.fit.unseen import Unseen

FIT = "fit"
ALL_OF_THE_FIT = "source resistance and reservoir of the rails, headroom, n/eta, output resistance"


def diagnose(found: Examination, before: Examination | None = None) -> Diagnosis:
    """The run, against the earlier one if there is one."""
    compared = [] if before is None else list(changes_since(before, found))
    changed = sorted((each for each in compared if isinstance(each, Change)), key=lambda each: -each.times)
    certain = [named_of(change) for change in changed if is_certain(change) and matters(change)]
    rail = None if before is None else rail_since(before, found)
    each = [*_of_findings(found, before), *certain, *filter(None, (rail,)), *off_plate(found)]
    named = _in_order(each, found.run.amplifier.channels)
    known = {(each.cause, each.channel) for each in named}
    others = [change for change in changed if (cause_of(change), change.quantity.channel) not in known]
    held = {(each.quantity.name, each.quantity.channel) for each in changed} | {
        (each.name, each.channel) for each in compared if not isinstance(each, Change)
    }
    return Diagnosis(
        named=named,
        small=tuple(change.sentence for change in others if not matters(change)),
        perhaps=tuple(change.sentence for change in others if matters(change) and not is_certain(change)),
        unchanged=tuple(unchanged_words(each) for each in compared if not isinstance(each, Change)),
        alone=tuple(unchanged_words(each) for key, each in fitted_of(found).items() if key not in held),
        hidden=(hidden := tuple(_hidden(named))),
        untold=(*hidden, *_untold(found)),
    )


def _of_findings(found: Examination, before: Examination | None) -> Iterator[Named]:
    earlier = {(each.kind, each.channel) for each in before.findings} if before else set()
    for finding in found.findings:
        was = "; it was so in the earlier run too" if (finding.kind, finding.channel) in earlier else ""
        advice = ADVICE.get(finding.kind, NONE)
        yield Named(
            finding.kind, finding.channel, finding.sentence + was, finding.times, (_held(finding),), (), *advice
        )


def _held(finding: Finding) -> str:
    return finding.against or "what any sound amplifier does"


def _hidden(named: Iterable[Named]) -> Iterator[Unseen]:
    """What a dead channel hides: a dc that stands with it may come from it, or may not."""
    for dead in named:
        if dead.cause in DEAD:
            why = f"output {dead.channel} is dead, which hides it"
            for cause, words in HIDDEN.items():
                if cause != dead.cause:
                    yield Unseen(cause, f"{words} of output {dead.channel}", why, dead.channel)


def _untold(found: Examination) -> Iterator[Unseen]:
    named = {finding.kind for finding in found.findings}
    yield from (each for each in found.unseen if each.cause not in named)
    if found.no_fit:
        yield Unseen(FIT, ALL_OF_THE_FIT, found.no_fit)
    yield from (Unseen(each.name, each.words, each.untold) for each in found.quantities if each.untold)


def _in_order(each: Iterable[Named], channels: Sequence[str]) -> tuple[Named, ...]:
    """The strongest first; what is one cause is told once, and what goes with a cause stands with it."""
    strongest = _as_one(sorted(each, key=lambda named: -named.times), channels)
    told: list[Named] = []
    for named in _causes_first(strongest):
        place = next((place for place, known in enumerate(told) if _belongs(named, known)), None)
        if place is None:
            told.append(named)
        else:
            against = tuple(dict.fromkeys((*told[place].against, *named.against)))
            told[place] = replace(told[place], also=(*told[place].also, named.sentence), against=against)
    return tuple(told)


def _causes_first(each: Sequence[Named]) -> list[Named]:
    """What has others that go with it comes before all of them, however large their figures are."""
    return sorted(each, key=lambda named: (named.cause not in DEAD, named.cause not in GOES_WITH, -named.times))


def _belongs(named: Named, known: Named) -> bool:
    if (named.cause, named.channel) == (known.cause, known.channel):
        return True
    if named.cause not in GOES_WITH.get(known.cause, ()):
        return known.cause in DEAD and named.channel == known.channel
    return not known.channel or not named.channel or known.channel == named.channel


def _as_one(each: Sequence[Named], channels: Sequence[str]) -> list[Named]:
    """A gain that is off in every channel is one thing: a control, or the level that goes in."""
    of_gain = {named.channel for named in each if named.cause == "gain"}
    if len(channels) > 1 and of_gain == set(channels):
        return [replace(named, channel="") if named.cause == "gain" else named for named in each]
    return list(each)
