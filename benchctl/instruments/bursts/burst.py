"""A burst, and all that a driver file may say of it."""

from __future__ import annotations

from dataclasses import dataclass

from benchctl.quantity import render


@dataclass(frozen=True)
class Burst:
    """`cycles` whole cycles at `level_v`, then rest at `low_level_v`; one begins every `every_s`."""

    frequency_hz: float
    cycles: int
    level_v: float
    low_level_v: float
    every_s: float

    @property
    def burst_s(self) -> float:
        """How long the test level lasts."""
        return self.cycles / self.frequency_hz

    @property
    def rest_s(self) -> float:
        """How long the low level lasts."""
        return self.every_s - self.burst_s

    @property
    def rest_ratio(self) -> float:
        """The low level over that of the burst."""
        return self.low_level_v / self.level_v if self.level_v else 0.0

    def values(self) -> dict[str, float | int]:
        """By the names that a driver file uses."""
        high_v, low_v = self.level_v, self.low_level_v
        return {
            "level_v": high_v,
            "low_level_v": low_v,
            "mean_level_v": (high_v + low_v) / 2,
            "sum_level_v": high_v + low_v,
            "low_percent": 100 * self.rest_ratio,
            "depth_percent": 100 * (1 - self.rest_ratio) / (1 + self.rest_ratio),
            "cycles": self.cycles,
            "burst_s": self.burst_s,
            "duty_percent": 100 * self.burst_s / self.every_s,
            "every_s": self.every_s,
            "rest_s": self.rest_s,
            "repetition_hz": 1 / self.every_s,
        }

    def __str__(self) -> str:
        """As in: 8 cycles every 500 ms, silent between."""
        cycles = "1 cycle" if self.cycles == 1 else f"{self.cycles} cycles"
        between = "silent between" if self.low_level_v == 0 else f"{render(self.low_level_v, 'V')} between"
        return f"{cycles} every {render(self.every_s, 's')}, {between}"
