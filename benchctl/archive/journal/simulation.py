"""Which instruments of a run were simulated, as its journal tells."""

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
    """`simulated` and `real` are roles of instruments; `is_told` says whether the journal tells at all."""

    simulated: tuple[str, ...] = ()
    real: tuple[str, ...] = ()
    is_told: bool = True

    @property
    def is_simulated(self) -> bool | None:
        """Whether any instrument was simulated, which makes the run a simulated one. None where nothing is told."""
        return bool(self.simulated) if self.is_told else None

    @property
    def is_whole(self) -> bool:
        """Whether every instrument was simulated, and so the amplifier."""
        return bool(self.simulated) and not self.real

    @property
    def words(self) -> str:
        """Which instruments were simulated, in words; nothing where none was."""
        return EVERY_INSTRUMENT if self.is_whole else " and ".join(filter(None, self._list()))

    def _list(self) -> tuple[str, ...]:
        *most, last = self.simulated or ("",)
        return ", ".join(most), last


def begins_part(event: Mapping[str, Any]) -> bool:
    """Whether a part of a run begins with this event, so that it tells which instruments are simulated."""
    return event["event"] == RUN_STARTED or event["event"] in NEW_PARTS


def simulation_of(events: Iterable[Mapping[str, Any]]) -> Simulation:
    """Of all parts of a run together: one simulated instrument in one part makes the run a simulated one."""
    parts = [event for event in events if begins_part(event)]
    began: Mapping[str, Any] = next((event for event in parts if event["event"] == RUN_STARTED), {})
    told = {role for event in parts for role in event.get("simulated", ())} | set(_by_identity(began))
    roles: Sequence[str] = list(dict.fromkeys([*began.get("instruments", {}), *sorted(told)]))
    if began.get("dry_run"):
        return Simulation(tuple(roles) or (EVERY_INSTRUMENT,))
    return Simulation(
        tuple(role for role in roles if role in told),
        tuple(role for role in roles if role not in told),
        is_told=bool(began) or bool(told),
    )


def _by_identity(began: Mapping[str, Any]) -> Iterator[str]:
    """What answered *IDN? as a simulated instrument: all that a journal of an earlier version tells of a real run."""
    return (role for role, identity in began.get("instruments", {}).items() if is_simulated(str(identity)))
