"""Conditions: what the bench was set to when a record was taken. The runner fills them in; everybody else reads them.

They stand in the journal with every step, every capture and every analysis, and as columns in figures.csv.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from typing import Literal

from benchctl.quantity import render

# How the level was found. "": not on record. "set": given by the sequence or by a rule of the step, or found at another
# supply voltage. "tried": on the way of a search. "clean": the highest that a search found clean. "full": the level at
# which, as a search found, the first cycle of a burst reaches the distortion bound.
Drive = Literal["", "undriven", "set", "tried", "clean", "full"]

_LEVELS: Mapping[Drive, str] = {
    "": "level",
    "undriven": "undriven",
    "set": "set level",
    "tried": "tried level",
    "clean": "clean level",
    "full": "full level",
}


@dataclass(frozen=True)
class Conditions:
    """Nominal load; frequency and level (V RMS of the generator) of the drive; set voltage of the supply; the channels
    that were driven; what bursts were like, where they were not as the sequence asks for or usual, or what sounded
    instead of a sine; `terminals` where the supply's voltage holds at the amplifier's terminals; the distortion (THD+N)
    that a clean or full level was searched for. None, or empty: it does not apply, or it is not on record."""

    load_ohm: float | None = None
    frequency_hz: float | None = None
    level_v: float | None = None
    drive: Drive = ""
    supply_set_v: float | None = None
    driven: tuple[str, ...] = ()
    bursts: str = ""
    supply_at: str = ""
    thd_limit: float | None = None

    @property
    def is_whole(self) -> bool:
        """Whether all of it is on record; older runs have kept load and frequency only."""
        return self.drive != ""

    @property
    def in_effect(self) -> Conditions:
        """As they bear on a record: where nothing drives the amplifier, it is at no frequency."""
        return replace(self, frequency_hz=None) if self.drive == "undriven" else self

    def driven_as(self, other: Conditions) -> Conditions:
        """These, with all that others say of the drive: its level, the channels and the bursts."""
        return replace(
            self,
            level_v=other.level_v,
            drive=other.drive,
            driven=other.driven,
            bursts=other.bursts,
            thd_limit=other.thd_limit,
        )

    def without(self, said: Conditions) -> Conditions:
        """What these tell beyond `said`: a field that is the same in both is left empty. A level keeps its name."""
        same = {each.name for each in fields(self) if getattr(self, each.name) == getattr(said, each.name)}
        if "level_v" not in same:
            same.discard("drive")
        return replace(self, **{name: getattr(NOT_ON_RECORD, name) for name in same})

    def __str__(self) -> str:
        """As in: 4 ohm, 1 kHz, 14.4 V supply, clean level 812.3 mV, A and B driven."""
        parts = (
            "" if self.load_ohm is None else render(self.load_ohm, "ohm"),
            "" if self.frequency_hz is None else render(self.frequency_hz, "Hz"),
            "" if self.supply_set_v is None else f"{render(self.supply_set_v, 'V')} {self._supply_in_words()}",
            self._drive_in_words(),
            "" if self.thd_limit is None else f"{render(self.thd_limit, '1')} THD+N",
            self.bursts,
            f"{' and '.join(self.driven)} driven" if self.driven else "",
        )
        return ", ".join(filter(None, parts))

    def _supply_in_words(self) -> str:
        return {"": "supply", "stated": "at the terminals (stated)"}.get(self.supply_at, "at the terminals")

    def _drive_in_words(self) -> str:
        """Of several levels, that they were all found alike."""
        level = "" if self.level_v is None else f" {render(self.level_v, 'V')}"
        return f"{_LEVELS[self.drive]}{level}" if self.drive or level else ""


NOT_ON_RECORD = Conditions()
UNDRIVEN = Conditions(drive="undriven")


def common_to(several: Iterable[Conditions]) -> Conditions:
    """What is the same in all of them; a field that differs is left empty."""
    found = list(several)
    if not found:
        return NOT_ON_RECORD
    if all(other == found[0] for other in found):
        return found[0]
    same = {
        each.name: getattr(found[0], each.name)
        for each in fields(Conditions)
        if all(getattr(other, each.name) == getattr(found[0], each.name) for other in found)
    }
    return Conditions(**same)
