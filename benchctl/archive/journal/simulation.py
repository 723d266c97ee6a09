"""Which instruments of a run were simulated, from its journal."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from benchctl.archive.journal.events import NEW_PARTS, RUN_STARTED
from benchctl.simulated_identity import is_simulated

# An older journal does not list the instruments of a dry run, all of which were simulated.
EVERY_INSTRUMENT = "every instrument"


@dataclass(frozen=True)
class Simulation:
    """`simulated` and `real` are roles of instruments; `is_told` says whether the journal has this at all.

    `is_replayed`: all that the instruments said came from a recording. None of them was there, so all count as
    simulated.
    """

    simulated: tuple[str, ...] = ()
    real: tuple[str, ...] = ()
    is_told: bool = True
    is_replayed: bool = False

    @property
    def word(self) -> str:
        """What stands before whatever such a run shows; empty for a measurement."""
        return "" if not self.is_simulated else "Replayed" if self.is_replayed else "Simulated"

    @property
    def is_simulated(self) -> bool | None:
        """Whether any instrument was simulated, which makes the run a simulated one. None if the journal does not
        say."""
        return bool(self.simulated) if self.is_told else None

    @property
    def is_whole(self) -> bool:
        """Whether every instrument was simulated, and so the amplifier."""
        return bool(self.simulated) and not self.real

    @property
    def words(self) -> str:
        """Which instruments were simulated, in words; empty if none was."""
        return EVERY_INSTRUMENT if self.is_whole else " and ".join(filter(None, self._list()))

    def _list(self) -> tuple[str, ...]:
        *most, last = self.simulated or ("",)
        return ", ".join(most), last


def begins_part(event: Mapping[str, Any]) -> bool:
    """Whether this event begins a part of a run, and so says which instruments are simulated."""
    return event["event"] == RUN_STARTED or event["event"] in NEW_PARTS


def simulation_of(events: Iterable[Mapping[str, Any]]) -> Simulation:
    """All parts of a run together: one simulated instrument in one part makes the run a simulated one."""
    parts = [event for event in events if begins_part(event)]
    began: Mapping[str, Any] = next((event for event in parts if event["event"] == RUN_STARTED), {})
    told = {role for event in parts for role in event.get("simulated", ())} | set(_by_identity(began))
    roles: Sequence[str] = list(dict.fromkeys([*began.get("instruments", {}), *sorted(told)]))
    if began.get("replayed"):
        return Simulation(tuple(roles), is_replayed=True)
    if began.get("dry_run"):
        return Simulation(tuple(roles) or (EVERY_INSTRUMENT,))
    return Simulation(
        tuple(role for role in roles if role in told),
        tuple(role for role in roles if role not in told),
        is_told=bool(began) or bool(told),
    )


def _by_identity(began: Mapping[str, Any]) -> Iterator[str]:
    """The instruments that answered *IDN? as simulated; an earlier version's journal of a real run has only this."""
    return (role for role, identity in began.get("instruments", {}).items() if is_simulated(str(identity)))
