"""What a part of the run has proved of the bench's wiring, before it drove the amplifier hard."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass
class Proved:
    """`paths`: each input was driven alone, and its output alone answered. `gains`: channel -> volts at the output for
    a volt of the generator, as the last look has seen them, with a tone of `tone_hz`. `loads`: the nominal loads whose
    draw was seen, at `load_part` of rated voltage; of loads that are not behind relays also, by name, what was seen.
    `not_checked`: what could not be told, and was said.
    """

    paths: bool = False
    gains: Mapping[str, float] = field(default_factory=dict)
    tone_hz: float | None = None
    loads: set[float] = field(default_factory=set)
    load_part: float | None = None
    loads_ohm: dict[str, float] = field(default_factory=dict)
    load_readings: dict[str, list[float]] = field(default_factory=dict)
    load_outputs_v: dict[str, dict[str, float]] = field(default_factory=dict)
    not_checked: set[str] = field(default_factory=set)

    def says_first(self, what: str) -> bool:
        """Whether this is said for the first time; it counts as said from now on."""
        is_first = what not in self.not_checked
        self.not_checked.add(what)
        return is_first
