"""Findings at steps, as they are told to a person: what is the same at many points of a sweep is told once, with the
points.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from benchctl.runner.plan import PlannedStep

# Up to this many points are named; if there are more, their number is given.
NAMED_POINTS = 6
# A figure with the unit behind it, prefix and all: 1.2 kA is alike 900 A.
_FIGURE = re.compile(r"\d\S*(?: \S+)?")


class Finding(NamedTuple):
    """Something that was found at a step."""

    planned: PlannedStep
    text: str

    @property
    def kind(self) -> tuple[str, str]:
        """The step in its file, and what was found there but for the figures."""
        return self.planned.number, _FIGURE.sub("#", self.text)


def told_once(findings: Iterable[Finding]) -> Iterator[str]:
    """A sentence for each kind of finding, in the order in which they came up."""
    alike: dict[tuple[str, str], list[Finding]] = {}
    for finding in findings:
        alike.setdefault(finding.kind, []).append(finding)
    for found in alike.values():
        yield _sentence(found)


def _sentence(found: Sequence[Finding]) -> str:
    first = found[0]
    points = list(dict.fromkeys(finding.planned.point for finding in found))
    if len(points) == 1:
        return f"{first.planned.label}: {first.text}"
    are_equal = all(finding.text == first.text for finding in found)
    figures = "" if are_equal else f" (figures: [{first.planned.point}])"
    return f"{first.planned.number} {first.planned.step.kind} at {_in_words(points)}: {first.text}{figures}"


def _in_words(points: Sequence[str]) -> str:
    named = ", ".join(f"[{point}]" for point in points[:NAMED_POINTS])
    more = len(points) - NAMED_POINTS
    return f"{len(points)} points, {named}" + (f" and {more} more" if more > 0 else "")
