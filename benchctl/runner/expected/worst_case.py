"""The worst that a step may ask of supply, load and fuse, and how long it may take."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TypedDict

from benchctl.runner.expected.fuse_load import FuseLoad
from benchctl.runner.expected.supply_draw import SupplyDraw


class Power(TypedDict):
    """What a step puts into one load resistor and takes from the supply: the highest power with its longest duration,
    and what heats the fuse (for bursts, a whole train of them and a single one). `draw` is what to expect instead of
    the worst.
    """

    load_ohm: float | None
    load_w: float
    for_s: float
    supply_a: float
    fuse_loads: tuple[FuseLoad, ...]
    output_peak_v: float
    draw: SupplyDraw


@dataclass(frozen=True)
class WorstCase:
    """One step: how long it takes (if that is open, at most and probably); its highest power (zeros if it is not
    driven) with the load that takes it; and the draw to expect. `stated_s`: the time that is used instead of a
    temperature that no sensor measures.
    """

    duration_s: float
    at_most_s: float | None = None
    likely_s: float | None = None
    load_ohm: float | None = None
    load_w: float = 0.0
    for_s: float = 0.0
    supply_a: float = 0.0
    fuse_loads: tuple[FuseLoad, ...] = ()
    output_peak_v: float = 0.0
    draw: SupplyDraw = field(default_factory=SupplyDraw)
    stated_s: float | None = None

    def later(self, seconds: float) -> WorstCase:
        """The same, and so much longer without a drive."""
        return replace(
            self,
            duration_s=self.duration_s + seconds,
            at_most_s=None if self.at_most_s is None else self.at_most_s + seconds,
            likely_s=None if self.likely_s is None else self.likely_s + seconds,
        )

    @property
    def expected_s(self) -> float:
        """How long it probably takes."""
        return self.duration_s if self.likely_s is None else self.likely_s
