"""Which shipped driver files fit an instrument that answers."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache

from benchctl import library
from benchctl.documents.driver_file.common import Match
from benchctl.documents.reader import load_driver


@cache
def shipped_matches() -> Mapping[str, Match]:
    """Each shipped driver file that says how its instruments are recognised."""
    drivers = {name: load_driver(path) for name, path in library.shipped("drivers").items()}
    return {name: driver.match for name, driver in drivers.items() if driver.match is not None}


def questions(matches: Mapping[str, Match]) -> tuple[str, ...]:
    """What has to be asked besides `*IDN?`, each question once."""
    return tuple(dict.fromkeys(question for match in matches.values() for question in match.answers))


def fitting(matches: Mapping[str, Match], identity: str, answers: Mapping[str, str]) -> tuple[str, ...]:
    """The names of those that fit: one of the identities, where some are given, and every answer. What asks for most
    comes first, as it says most."""
    fit = [name for name, match in matches.items() if _fits(match, identity, answers)]
    return tuple(sorted(fit, key=lambda name: -len(matches[name].answers)))


def _fits(match: Match, identity: str, answers: Mapping[str, str]) -> bool:
    is_known = not match.identity or any(_is_like(identity, each) for each in match.identity)
    return is_known and all(
        question in answers and _is_like(answers[question], pattern) for question, pattern in match.answers.items()
    )


def _is_like(text: str, pattern: str) -> bool:
    """Whether a text is what a pattern says: `*` stands for any letters, and capitals do not count."""
    parts = (re.escape(part) for part in pattern.split("*"))
    return re.fullmatch(".*".join(parts), text.strip(), re.IGNORECASE | re.DOTALL) is not None
