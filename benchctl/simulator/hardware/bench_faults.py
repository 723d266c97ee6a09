"""What is wrong on the bench: sensors, leads, plugs and instruments. All is sound until a fault is planted."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field


@dataclass
class BenchFaults:
    """The faults that are on the bench now.

    Attributes:
        open_sensors: places of sensors that have no contact.
        fallen_sensors: places of sensors that lie on the bench.
        wrong: instrument and what it shows -> times what is true.
        offsets: signal of the oscilloscope -> what it shows beside the signal.
        one_channel: the oscilloscope's channel whose record is given for every other.
        has_trigger: False where the generator's sync output does not reach the oscilloscope.
    """

    open_sensors: frozenset[str] = frozenset()
    fallen_sensors: frozenset[str] = frozenset()
    wrong: Mapping[tuple[str, str], float] = field(default_factory=dict)
    offsets: Mapping[str, float] = field(default_factory=dict)
    one_channel: int | None = None
    has_trigger: bool = True
    _swapped: dict[tuple[str, str], str] = field(default_factory=dict)

    def factor(self, instrument: str, what: str) -> float:
        """Of what an instrument shows: 1, unless a fault makes it wrong."""
        return self.wrong.get((instrument, what), 1.0)

    def swap(self, pairs: Iterable[tuple[str, str, str]]) -> None:
        """Let connections change places: of an instrument, the one and the other; all others are as they should be."""
        self._swapped = {}
        for instrument, one, other in pairs:
            self._swapped[instrument, one], self._swapped[instrument, other] = other, one

    @property
    def any_swapped(self) -> bool:
        """Whether any two connections have changed places."""
        return bool(self._swapped)

    def truly(self, instrument: str, what: str) -> str:
        """What a connection of an instrument is in fact."""
        return self._swapped.get((instrument, what), what)
