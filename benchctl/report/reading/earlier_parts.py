"""How the earlier parts of a run left the bench: a run that is resumed, or begins a step anew, has several parts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from benchctl.archive.journal.events import GUARDIAN_ACTED, NEW_PARTS, RUN_ENDED, SAFE_STATE
from benchctl.archive.journal.journal import Event
from benchctl.quantity import clock_face
from benchctl.report.reading.unconfirmed import Unconfirmed, unconfirmed_in


@dataclass(frozen=True)
class EarlierPart:
    """One part that another followed. `is_told` says whether the journal tells how it left the bench, `guardian` what
    the guardian found last, where it had to act."""

    number: int
    until_s: float
    unconfirmed: tuple[Unconfirmed, ...]
    is_told: bool
    guardian: str

    @property
    def is_safe(self) -> bool:
        """Whether every instrument confirmed the safe state at the end of this part, to the run or to the guardian."""
        return self.is_told and not self.unconfirmed

    def __str__(self) -> str:
        place = f"Part {self.number}, which ended at {clock_face(self.until_s)}"
        if not self.is_told:
            return f"{place}: the journal does not tell whether the bench was safe."
        parts = "; ".join(f"{part}. By hand: {part.by_hand}" for part in self.unconfirmed)
        return f"{place}: {parts}.{f' {self.guardian}' if self.guardian else ''}"


def earlier_parts(events: Sequence[Event]) -> list[EarlierPart]:
    """All parts but the last, in order."""
    parts = list(_split(events))[:-1]
    return [_part(number, part) for number, part in enumerate(parts, start=1)]


def _split(events: Sequence[Event]) -> Iterator[list[Event]]:
    part: list[Event] = []
    for event in events:
        if event["event"] in NEW_PARTS:
            yield part
            part = []
        part.append(event)
    yield part


def _part(number: int, events: Sequence[Event]) -> EarlierPart:
    by_run = [event for event in events if event["event"] in (SAFE_STATE, RUN_ENDED) and "instruments" in event]
    by_guardian = [event for event in events if event["event"] == GUARDIAN_ACTED and event.get("did") in _GUARDIAN]
    last: Mapping[str, Any] | None = next(reversed(by_run or by_guardian), None)
    return EarlierPart(
        number=number,
        until_s=float(events[-1]["time_s"]) if events else 0.0,
        unconfirmed=unconfirmed_in(last) if last is not None else (),
        is_told=last is not None,
        guardian=_GUARDIAN[by_guardian[-1]["did"]] if by_guardian else "",
    )


_GUARDIAN = {
    "safe": "The guardian made the bench safe later, and every instrument confirmed it.",
    "unsafe": "The guardian could not make the bench safe either.",
}
