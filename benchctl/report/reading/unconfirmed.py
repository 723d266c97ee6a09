"""The parts of the safe state that were not confirmed, as a journal or a guardian tells them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Unconfirmed:
    """A part of the safe state that its instrument did not confirm, and what a person does about it."""

    instrument: str
    part: str
    detail: str
    by_hand: str

    @classmethod
    def of(cls, part: Mapping[str, Any]) -> Unconfirmed:
        """As the journal tells it."""
        by_hand = str(part.get("by_hand") or "switch it off at its front panel")
        return cls(str(part.get("instrument", "")), str(part.get("part", "")), str(part.get("detail", "")), by_hand)

    def __str__(self) -> str:
        return f"{self.instrument}: {self.part}: not confirmed ({self.detail})"


def unconfirmed_in(event: Mapping[str, Any]) -> tuple[Unconfirmed, ...]:
    """Those that an event lists."""
    parts = event.get("instruments")
    told = [part for part in parts if isinstance(part, Mapping)] if isinstance(parts, list) else []
    return tuple(Unconfirmed.of(part) for part in told if not part.get("confirmed", False))
