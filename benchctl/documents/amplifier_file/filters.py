"""Crossover filters: low-passes and high-passes in front of an amplifier's output stages."""

from __future__ import annotations

import math
from typing import Literal

from pydantic import Field

from benchctl.documents.model.fields import ChannelName, PositiveHertz
from benchctl.documents.model.model_base import Part


class CrossoverFilter(Part):
    """A Butterworth filter in front of the output stages."""

    kind: Literal["low-pass", "high-pass"] = Field(description="which side of the corner it passes")
    corner_hz: PositiveHertz = Field(description="frequency at which 3 dB are lost")
    slope: Literal["12 dB/octave", "24 dB/octave"] = Field(description="slope far beyond the corner")
    channels: tuple[ChannelName, ...] | None = Field(
        default=None, description="channels that have the filter; if left out, all"
    )

    @property
    def order(self) -> int:
        """Poles: one for each 6 dB an octave."""
        return {"12 dB/octave": 2, "24 dB/octave": 4}[self.slope]

    def doubles(self, other: CrossoverFilter) -> bool:
        """Whether both have the same poles on one channel."""
        if (self.corner_hz, self.slope) != (other.corner_hz, other.slope):
            return False
        return self.channels is None or other.channels is None or not set(self.channels).isdisjoint(other.channels)

    def left_db(self, frequency_hz: float) -> float:
        """What it leaves of a sine, in dB: the magnitude of a Butterworth filter, -10 lg(1 + (f / fc)^2n)."""
        ratio = frequency_hz / self.corner_hz if self.kind == "low-pass" else self.corner_hz / frequency_hz
        return -10.0 * math.log10(1.0 + ratio ** (2 * self.order))
