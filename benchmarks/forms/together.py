"""One bench with several instruments that each speak a form of their own."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from benchmarks.forms.trials import Form

_INSTRUMENTS = "\n  instruments: {"


@dataclass(frozen=True)
class Together:
    """The workshop's bench with an instrument for each of these forms, no two of one kind."""

    forms: tuple[Form, ...]

    @property
    def speaks(self) -> str:
        """The names of all."""
        return " and ".join(form.speaks for form in self.forms)

    @property
    def driver(self) -> str:
        """The drivers' names."""
        return " and ".join(form.driver for form in self.forms)

    def edits(self, vices: str = "") -> Mapping[str, str]:
        """What makes the workshop's bench one with these instruments; `vices` are further words of each simulation."""
        found: dict[str, str] = {}
        for form in self.forms:
            for old, new in form.edits(vices).items():
                found[old] = _both(found[old], new) if old in found else new
        return found


def _both(one: str, other: str) -> str:
    """One line of simulated instruments with those of both."""
    seed, _, first = one.partition(_INSTRUMENTS)
    second = other.partition(_INSTRUMENTS)[2]
    return f"{seed}{_INSTRUMENTS}{first.removesuffix('}')}, {second}"
