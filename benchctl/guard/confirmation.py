"""What an instrument answers about its part of the safe state, and what a person does if it does not confirm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from benchctl.instruments.safe_part import NO_QUESTION

# What a person does about an instrument that does not confirm, by its name in the bench file.
_BY_HAND = {
    "generator": "pull its lead out of the amplifier's input",
    "supply": "open the switch in the supply lead, or switch the supply off at its front panel",
    "load": "touch no load lead before generator and supply are off; then switch the load off at its front panel",
}


@dataclass(frozen=True)
class Confirmation:
    """What one instrument answered about its part of the safe state.

    Attributes:
        confirmed: True if nothing is left to do: the instrument confirmed, or it is a load that was told and cannot be
            asked.
        detail: why it is not confirmed; or that it was only told.
    """

    instrument: str
    part: str
    confirmed: bool
    detail: str = ""

    @property
    def can_be_confirmed(self) -> bool:
        """Whether the instrument can confirm this part at all. If no question exists for it, a person must look."""
        return self.confirmed or self.detail != NO_QUESTION

    @property
    def by_hand(self) -> str:
        """What a person must do about this part; empty if it is confirmed."""
        return "" if self.confirmed else _BY_HAND.get(self.instrument, "switch it off at its front panel")

    @property
    def alarm(self) -> str:
        """What a person is told at once, while more attempts are made."""
        why = f" ({self.detail})" if self.detail else ""
        state = "NOT YET CONFIRMED" if self.can_be_confirmed else "CANNOT BE CONFIRMED OFF"
        return f"{state}: {self.instrument}: {self.part}{why}. By hand, now: {self.by_hand}."

    def __str__(self) -> str:
        return f"{self.instrument}: {self.part}: {self.state}"

    @property
    def state(self) -> str:
        """The result, in words."""
        return (self.detail or "confirmed") if self.confirmed else f"NOT CONFIRMED ({self.detail})"


def all_confirmed(confirmations: Sequence[Confirmation]) -> bool:
    """Whether every instrument confirmed its part."""
    return all(confirmation.confirmed for confirmation in confirmations)


def not_safe_in_words(confirmations: Sequence[Confirmation]) -> list[str]:
    """A sentence for each part that is not confirmed, with what a person does about it."""
    return [f"NOT SAFE: {part}. By hand, now: {part.by_hand}." for part in confirmations if not part.confirmed]
