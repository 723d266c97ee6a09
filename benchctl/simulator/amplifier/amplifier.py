"""What the amplifier is doing: asleep, waking, playing, or protecting itself.

The states, and what changes one into the next::

    asleep  --remote lead live--> waking --turn-on delay over--> playing
    waking, playing --heatsink too hot--> hot --heatsink cool--> waking
    waking, playing --terminals too low for a while--> starved --a rest, terminals well--> waking
    playing --output current too high--> shorted --after a while--> waking
    waking, playing --a rail too high--> pumped --after a while, rails well below--> waking
    playing --dc at an output for a while--> offset
    any --remote lead dead--> asleep
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple

from benchctl.documents.amplifier_file.power_side import Thump
from benchctl.documents.amplifier_file.simulation import ProtectionSimulation
from benchctl.simulator.amplifier.thump import Pulse

LOW_VOLTAGE_DELAY_S = 0.1
"""The terminals must stay low for this long: the dip of a burst is not a flat battery (common practice)."""

LOW_VOLTAGE_HYSTERESIS_V = 0.5
"""The unloaded terminals must rise this far above the threshold before it starts again."""

LOW_VOLTAGE_REST_S = 0.25
"""It rests for this long before it tries again; otherwise a supply at its limit would make it switch on and off all the
time (common practice)."""

RAIL_HYSTERESIS = 0.95
"""Both rails must fall below this part of the threshold before it starts again (common practice)."""

OUTPUT_DC_DELAY_S = 0.3
"""Dc must stay for this long: the lowest notes look like dc for half a wave (common practice)."""


class State(StrEnum):
    """The state of the whole amplifier."""

    ASLEEP = "asleep"
    WAKING = "waking"
    PLAYING = "playing"
    HOT = "hot"
    STARVED = "starved"
    SHORTED = "shorted"
    PUMPED = "pumped"
    OFFSET = "offset"

    @property
    def playing(self) -> bool:
        """Whether the outputs follow the input."""
        return self is State.PLAYING

    @property
    def biased(self) -> bool:
        """Whether the output stages draw their idle current."""
        return self is State.WAKING or self is State.PLAYING

    @property
    def converting(self) -> bool:
        """Whether the converter runs."""
        return self is not State.ASLEEP and self is not State.STARVED


_RESTING = frozenset({State.SHORTED, State.STARVED, State.PUMPED})
"""For a time, before it tries again."""


class Ramp(NamedTuple):
    """How far the converter has come up, 0 to 1, and how fast it goes on."""

    part: float
    per_s: float = 0.0


DOWN, UP = Ramp(0.0), Ramp(1.0)


class Sight(NamedTuple):
    """What the amplifier measures of itself at an instant."""

    remote_v: float
    terminal_v: float
    heatsink_c: float
    output_a: float = 0.0
    """highest peak current in an output"""
    output_dc_v: float = 0.0
    """highest mean voltage of an output, either way"""
    rail_v: float = 0.0
    """of the higher rail"""


@dataclass
class _Lasting:
    """Something that must last for a while before it counts."""

    delay_s: float
    since_s: float | None = None

    @property
    def counts_s(self) -> float:
        """The time at which it will count if it goes on."""
        return math.inf if self.since_s is None else self.since_s + self.delay_s

    def see(self, now_s: float, *, present: bool) -> bool:
        """Whether it has lasted long enough."""
        if not present:
            self.since_s = None
        elif self.since_s is None:
            self.since_s = now_s
        return now_s >= self.counts_s


@dataclass
class Amplifier:
    """The state, and when it was entered."""

    protection: ProtectionSimulation
    turn_on_delay_s: float
    soft_start_s: float
    remote_threshold_v: float
    thump: Thump | None = None
    state: State = State.ASLEEP
    pulse: Pulse | None = None
    """the last thump"""
    entered_s: float = 0.0
    _starving: _Lasting = field(default_factory=lambda: _Lasting(LOW_VOLTAGE_DELAY_S))
    _offset: _Lasting = field(default_factory=lambda: _Lasting(OUTPUT_DC_DELAY_S))

    @property
    def playing(self) -> bool:
        """Whether the outputs follow the input."""
        return self.state.playing

    def ramp(self, now_s: float) -> Ramp:
        """How far the converter has come up by now: evenly over its soft start."""
        if not self.state.converting:
            return DOWN
        if self.state is not State.WAKING or now_s >= self.entered_s + self.soft_start_s:
            return UP
        return Ramp((now_s - self.entered_s) / self.soft_start_s, 1 / self.soft_start_s)

    def next_change_s(self, now_s: float) -> float:
        """The next instant at which the state may change by itself, or the converter is up."""
        changes_s = [self._rested_s] if self.state in _RESTING else [self._starving.counts_s, self._offset.counts_s]
        if self.state is State.WAKING:
            changes_s += [self.entered_s + self.soft_start_s, self.entered_s + self.turn_on_delay_s]
        return min([change_s for change_s in changes_s if change_s > now_s], default=math.inf)

    def gain_left(self, heatsink_c: float) -> float:
        """The part of the gain that the thermal fold-back leaves."""
        protection = self.protection
        if protection.fold_back_c is None or heatsink_c <= protection.fold_back_c:
            return 1.0
        part = (heatsink_c - protection.fold_back_c) / (protection.temperature_c - protection.fold_back_c)
        return 1.0 - (1.0 - protection.fold_back_to) * min(part, 1.0)

    def look(self, now_s: float, sight: Sight) -> bool:
        """Change the state to suit what is seen; True if it changed."""
        following = self._next_state(now_s, sight)
        if following is self.state:
            return False
        self._thump(following, now_s)
        self.state, self.entered_s = following, now_s
        self._starving.since_s = self._offset.since_s = None
        return True

    def _thump(self, following: State, now_s: float) -> None:
        """One whose protection mutes it has its relay open before anything is heard."""
        if self.thump is None:
            return
        if following is State.PLAYING:
            self.pulse = Pulse(self.thump.turn_on_v, now_s, self.thump.time_constant_s)
        elif self.state is State.PLAYING and following in {State.ASLEEP, State.STARVED}:
            self.pulse = Pulse(self.thump.turn_off_v, now_s, self.thump.time_constant_s)

    def _next_state(self, now_s: float, sight: Sight) -> State:
        if sight.remote_v < self.remote_threshold_v:
            return State.ASLEEP
        match self.state:
            case State.ASLEEP:
                return State.WAKING
            case State.WAKING | State.PLAYING:
                return self._next_awake_state(now_s, sight)
            case _:
                return State.WAKING if self._recovered(now_s, sight) else self.state

    def _recovered(self, now_s: float, sight: Sight) -> bool:
        """Whether the cause of its silence is over; dc at an output ends only by repair or a new start."""
        match self.state:
            case State.HOT:
                return sight.heatsink_c < self.protection.restart_c
            case State.STARVED:
                well = sight.terminal_v > self.protection.low_voltage_v + LOW_VOLTAGE_HYSTERESIS_V
                return well and now_s >= self._rested_s
            case State.SHORTED:
                return now_s >= self._rested_s
            case State.PUMPED:
                return now_s >= self._rested_s and sight.rail_v < RAIL_HYSTERESIS * self._highest_rail_v
            case _:
                return False

    @property
    def _rested_s(self) -> float:
        """When it may try again."""
        return self.entered_s + (LOW_VOLTAGE_REST_S if self.state is State.STARVED else self.protection.retry_s)

    @property
    def _highest_rail_v(self) -> float:
        return math.inf if self.protection.rail_v is None else self.protection.rail_v

    def _next_awake_state(self, now_s: float, sight: Sight) -> State:
        protection = self.protection
        if sight.heatsink_c > protection.temperature_c:
            return State.HOT
        if self._starving.see(now_s, present=sight.terminal_v < protection.low_voltage_v):
            return State.STARVED
        shorted = protection.output_current_a is not None and sight.output_a > protection.output_current_a
        if shorted or sight.rail_v > self._highest_rail_v:
            return State.SHORTED if shorted else State.PUMPED
        if self._offset.see(now_s, present=abs(sight.output_dc_v) > protection.output_dc_v):
            return State.OFFSET
        if self.state is State.WAKING and now_s >= self.entered_s + self.turn_on_delay_s:
            return State.PLAYING
        return self.state
