"""What the amplifier is doing: asleep, waking, playing, or saving itself.

The states and what leads from one to the next::

    asleep  --remote lead live--> waking --turn-on delay over--> playing
    waking, playing --terminals too low for a while--> starved --terminals well again--> waking
    waking, playing --heatsink too hot--> hot --heatsink cool--> waking
    any --remote lead dead--> asleep
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import Enum

from benchctl.documents.simulation import ProtectionSimulation

LOW_VOLTAGE_DELAY_S = 0.1
"""Terminals must stay low for so long: a burst's own dip is no flat battery (common practice)."""

LOW_VOLTAGE_HYSTERESIS_V = 0.5
"""The unloaded terminals must rise so far above the threshold before it starts again."""


class State(Enum):
    """Of the amplifier as a whole."""

    ASLEEP = "asleep"
    WAKING = "waking"
    PLAYING = "playing"
    HOT = "hot"
    STARVED = "starved"


@dataclass
class Amplifier:
    """The state, and when it was entered."""

    protection: ProtectionSimulation
    turn_on_delay_s: float
    soft_start_s: float
    remote_threshold_v: float
    state: State = State.ASLEEP
    entered_s: float = 0.0
    _low_since_s: float | None = field(default=None)

    @property
    def playing(self) -> bool:
        """Whether the outputs follow the input."""
        return self.state is State.PLAYING

    @property
    def biased(self) -> bool:
        """Whether the output stages draw their idle current."""
        return self.state in {State.WAKING, State.PLAYING}

    @property
    def converting(self) -> bool:
        """Whether the converter runs."""
        return self.state in {State.WAKING, State.PLAYING, State.HOT}

    def ramp(self, now_s: float) -> float:
        """How far the converter has come up, 0 to 1."""
        if not self.converting:
            return 0.0
        if self.state is not State.WAKING or self.soft_start_s == 0:
            return 1.0
        return min((now_s - self.entered_s) / self.soft_start_s, 1.0)

    def next_change_s(self) -> float:
        """The next instant at which the state may change of itself, though nothing else does."""
        if self.state is State.WAKING:
            return self.entered_s + self.turn_on_delay_s
        if self._low_since_s is not None:
            return self._low_since_s + LOW_VOLTAGE_DELAY_S
        return math.inf

    def look(self, now_s: float, remote_v: float, terminal_v: float, heatsink_c: float) -> bool:
        """Follow the remote lead, the terminals and the heatsink; True if the state changed."""
        following = self._next_state(now_s, remote_v, terminal_v, heatsink_c)
        if following is self.state:
            return False
        self.state, self.entered_s, self._low_since_s = following, now_s, None
        return True

    def _next_state(self, now_s: float, remote_v: float, terminal_v: float, heatsink_c: float) -> State:
        if remote_v < self.remote_threshold_v:
            return State.ASLEEP
        if self.state is State.ASLEEP:
            return State.WAKING
        if self.state is State.HOT:
            return State.WAKING if heatsink_c < self.protection.restart_c else State.HOT
        if self.state is State.STARVED:
            well = terminal_v > self.protection.low_voltage_v + LOW_VOLTAGE_HYSTERESIS_V
            return State.WAKING if well else State.STARVED
        return self._next_awake_state(now_s, terminal_v, heatsink_c)

    def _next_awake_state(self, now_s: float, terminal_v: float, heatsink_c: float) -> State:
        if heatsink_c > self.protection.temperature_c:
            return State.HOT
        if self._starving(now_s, terminal_v):
            return State.STARVED
        if self.state is State.WAKING and now_s >= self.entered_s + self.turn_on_delay_s:
            return State.PLAYING
        return self.state

    def _starving(self, now_s: float, terminal_v: float) -> bool:
        if terminal_v >= self.protection.low_voltage_v:
            self._low_since_s = None
            return False
        if self._low_since_s is None:
            self._low_since_s = now_s
        return now_s >= self._low_since_s + LOW_VOLTAGE_DELAY_S
