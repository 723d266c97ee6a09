"""All that a function generator's output can be set to, as one immutable value.

Voltages are those of the open output. What the display shows follows from the load that the output is set for: behind
its 50 ohm the generator gives the display's voltage into that load, so a high input sees
(load + 50 ohm) / load times as much.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction

from benchctl.scpi.errors import ScpiError
from benchctl.simulator.generator_signal import SOURCE_OHM
from benchctl.simulator.instruments.generators.table import Table
from benchctl.simulator.wave import Wave, square, two_tones

LEAST_VPP = 1e-3
"""The smallest setting of the display; a function generator cannot be set to nothing (common practice)."""

LONGEST_RATIO = 5000
"""Two tones are kept at a ratio of whole numbers up to this, so that they have a common cycle."""

# Peak-to-peak volts of a sine for one unit of the display.
VPP_PER_UNIT: Mapping[str, float] = {"VPP": 1.0, "VRMS": 2 * math.sqrt(2), "VP": 2.0, "MVPP": 1e-3}


@dataclass(frozen=True)
class Panel:
    """One output. As it stands here: after a reset, with the display set for a high input."""

    frequency_hz: float = 1000.0
    open_vpp: float = 0.1
    open_offset_v: float = 0.0
    unit: str = "VPP"
    load_ohm: float = math.inf
    """what the display's volts hold for"""
    shape: str = "SIN"
    """SIN, SQU or ARB, a table"""
    burst_on: bool = False
    burst_mode: str = "TRIG"
    cycles: int = 1
    every_s: float = 0.01
    start_phase_deg: float = 0.0
    trigger_source: str = "IMM"
    modulation_on: bool = False
    modulation_shape: str = "SIN"
    modulation_hz: float = 100.0
    depth: float = 1.0
    duty: float = 0.5
    """of a square wave that modulates"""
    sum_on: bool = False
    """whether a second sine is added"""
    sum_hz: float = 100.0
    sum_part: float = 0.1
    """its amplitude over that of the tone"""
    sweep_on: bool = False
    sweep_hz: tuple[float, float] = (100.0, 1000.0)
    sweep_s: float = 1.0
    table_name: str = ""
    table_rate_hz: float = 40e3
    tables: Mapping[str, Table] = field(default_factory=dict)

    @property
    def display_factor(self) -> float:
        """Volts on the display for a volt at the open output."""
        return 1.0 if math.isinf(self.load_ohm) else self.load_ohm / (self.load_ohm + SOURCE_OHM)

    @property
    def shown(self) -> float:
        """The level on the display, in its unit."""
        return self.open_vpp * self.display_factor / self._vpp_per(self.unit)

    @property
    def shown_offset_v(self) -> float:
        """The offset on the display."""
        return self.open_offset_v * self.display_factor

    @property
    def table(self) -> Table | None:
        """What plays instead of a sine, if anything does."""
        return self.tables.get(self.table_name) if self.shape == "ARB" else None

    @property
    def wave(self) -> tuple[Wave | None, float]:
        """What plays instead of a sine, if anything does, and the frequency of its cycle."""
        table = self.table
        if table is not None and table.wave is not None:
            return table.wave, self.table_rate_hz / table.points
        if self.shape == "SQU":
            return square(), self.frequency_hz
        if self.sum_on and table is None:
            ratio = Fraction(self.sum_hz / self.frequency_hz).limit_denominator(LONGEST_RATIO)
            return two_tones(ratio.denominator, ratio.numerator, self.sum_part), self.frequency_hz / ratio.denominator
        return None, self.frequency_hz

    @property
    def highest_part(self) -> float:
        """The highest voltage over that of the tone alone."""
        return 1.0 + self.sum_part if self.sum_on else 1.0

    def _vpp_per(self, unit: str) -> float:
        """Peak-to-peak volts for one unit; the RMS of a square wave is its peak."""
        return 2.0 if unit == "VRMS" and self.shape == "SQU" else VPP_PER_UNIT[unit]

    def with_shown(self, number: float, unit: str = "") -> Panel:
        """The same with another level on the display.

        Raises:
            ScpiError: less than the display can be set to.
        """
        vpp = number * self._vpp_per(unit or self.unit)
        if vpp < LEAST_VPP:
            raise ScpiError(-222, f"{vpp:g} Vpp is below the minimum of {LEAST_VPP:g} Vpp")
        return replace(self, open_vpp=vpp / self.display_factor)

    def in_steps(self, step_vpp: float) -> Panel:
        """The same with the level on the display at the nearest multiple of a step, but not at nothing."""
        if not step_vpp:
            return self
        steps = max(round(self.open_vpp * self.display_factor / step_vpp), 1)
        return replace(self, open_vpp=steps * step_vpp / self.display_factor)

    def with_shown_offset(self, offset_v: float) -> Panel:
        """The same with another offset on the display."""
        return replace(self, open_offset_v=offset_v / self.display_factor)

    def check(self, highest_vpp: float) -> None:
        """Refuse what does not fit together.

        Raises:
            ScpiError: it does not.
        """
        if self.open_vpp > highest_vpp * (1 + 1e-9):
            raise ScpiError(-222, f"{self.open_vpp * self.display_factor:g} Vpp is above the maximum")
        if abs(self.open_offset_v) + self.highest_part * self.open_vpp / 2 > highest_vpp / 2 * (1 + 1e-9):
            raise ScpiError(-221, "all that is added up is beyond the output's range")
        if self.burst_on and self.trigger_source in ("IMM", "TIM") and self.cycles / self.frequency_hz >= self.every_s:
            raise ScpiError(-221, "the burst is longer than its period")
