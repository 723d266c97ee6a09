"""The true outputs of the supply: voltage, current limit, over-voltage and over-current trips.

The voltage follows its setting at a finite rate. When the output is switched off, its
voltage falls as it does towards a lower setting; over-voltage protection shorts the output. The capacitor across the
output only says how fast a light load lets it fall: its energy is not counted.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from benchctl.documents.bench_file.simulation import SupplySlew
from benchctl.documents.bench_file.supply_imperfections import Recovery
from benchctl.simulator.amplifier.converter import OFF, Source, Whine

Samples = NDArray[np.float64]

OVERCURRENT_DELAY_S = 0.01
"""Unless set otherwise, a current must stay above the protection level for this long before it trips, so that a single
peak does not."""

SLEW_STEP_V = 0.1
"""While its rate depends on its load, or a level is near that must be seen in time, it is looked at again after such a
step: a hundredth of a vehicle's voltage."""

SLEW_STEP_S = 0.01
"""Else it moves evenly, and is looked at again after this time."""

NEAR_V = 1.0
"""A level that was passed by less than this is near."""

RECOVERED_V = 5e-3
"""A voltage that has to recover by less than this counts as recovered, and moves in steps of it meanwhile: a third of a
thousandth of a vehicle's voltage."""

RECOVERED_DIGITS = 3
SETTLED_DIGITS = 4
"""Currents within 0.1 mA are the same, so that a periodic load is found to repeat."""

MOST_STEPS = 16.0
"""In a time constant."""

LATER = 1.25
"""Each time at which a changing current is looked at is so many times the one before."""

THERE_V = 1e-6
SHORTEST_STEP_S = 1e-5
"""When less than this is left of the change, or of its time, no further step is made."""


@dataclass
class SupplyOutput:
    """One output. Voltages and currents here are true ones; the instrument adds its errors when set and read."""

    lead_ohm: float
    slew: SupplySlew = field(default_factory=SupplySlew)
    inner_ohm: float = 0.0
    """output resistance at constant voltage"""
    recovery: Recovery | None = None
    open_sense_v: float = 0.0
    """how far it rises with remote sense on, because its sense leads are open; 0 where they are not"""
    whine: Whine | None = None
    on: bool = False
    stuck: bool = False
    """a fault: once on, it stays on unless a protection trips"""
    drift_v: float = 0.0
    """a fault: how far its voltage is above the setting"""
    voltage_v: float = 0.0
    limit_a: float = 0.0
    overvoltage_v: float = math.inf
    overcurrent_a: float = math.inf
    overcurrent_delay_s: float = OVERCURRENT_DELAY_S
    remote_sense: bool = False
    """whether it holds its voltage at the amplifier's terminals, behind the lead"""
    overvoltage_tripped: bool = False
    overcurrent_tripped: bool = False
    watchdog_tripped: bool = False
    changed_s: float = 0.0
    """when it was last set or switched; no read-back averages over an earlier time"""
    present_v: float = field(init=False)
    """its voltage on the way to the setting, unless its current is limited"""
    levels_v: tuple[float, ...] = ()
    """voltages at which something happens that must be seen in time"""
    _settled_a: float = 0.0
    """the current that the regulation has caught up with"""
    _moved_s: float = 0.0
    _drawn_a: float = 0.0
    _above_since_s: float | None = None

    def __post_init__(self) -> None:
        self.present_v = self.wanted_v

    @property
    def tripped(self) -> bool:
        """Whether a protection holds the output off."""
        return self.overvoltage_tripped or self.overcurrent_tripped or self.watchdog_tripped

    @property
    def live(self) -> bool:
        """Whether the output gives anything."""
        return self.on and not self.tripped

    @property
    def timing(self) -> bool:
        """Whether an over-current is being timed."""
        return self._above_since_s is not None

    @property
    def wanted_v(self) -> float:
        """The voltage that it moves to."""
        return max(self.voltage_v + self.drift_v, 0.0) if self.live else 0.0

    def switch(self, on: bool) -> None:
        """Switch it on, or off if that can be done."""
        self.on = on or (self.on and self.stuck)

    @property
    def open_v(self) -> float:
        """Its voltage where nothing draws on it."""
        if not self.present_v:
            return 0.0
        recovered_v = round(self.recovery.dip_ohm * self._settled_a, RECOVERED_DIGITS) if self.recovery else 0.0
        return self.present_v + recovered_v + (self.open_sense_v if self.remote_sense else 0.0)

    def source(self) -> Source:
        """The source as the load sees it."""
        if not self.present_v:
            return OFF
        inner_ohm = self.inner_ohm + (self.recovery.dip_ohm if self.recovery else 0.0)
        sensed = self.remote_sense and not self.open_sense_v
        return Source(self.open_v, self.limit_a, self.lead_ohm, inner_ohm, sensed, self.whine, self.v_per_s)

    def holds_s(self, current_a: float) -> float:
        """How long its voltage counts as constant while a current flows: until it has recovered by a step."""
        if self.recovery is None:
            return math.inf
        steps = abs(current_a - self._settled_a) * self.recovery.dip_ohm / RECOVERED_V
        return self.recovery.time_constant_s / min(steps, MOST_STEPS) if steps > 1 else math.inf

    def times_to_look_at_s(self, longest_s: float) -> Samples:
        """Up to `longest_s`; for the first of them its voltage counts as constant whatever flows."""
        shortest_s = self.recovery.time_constant_s / MOST_STEPS if self.recovery else math.inf
        if longest_s <= shortest_s:
            return np.asarray([longest_s])
        count = math.ceil(math.log(longest_s / shortest_s) / math.log(LATER))
        return np.asarray(np.minimum(shortest_s * LATER ** np.arange(count + 1), longest_s), dtype=np.float64)

    def holds_until_s(self, times_s: Samples, currents_a: Samples) -> float:
        """The last of these times up to which its voltage counts as constant, with the current that flows at each."""
        if self.recovery is None:
            return float(times_s[-1])
        steps = np.abs(currents_a - self._settled_a) * (self.recovery.dip_ohm / RECOVERED_V)
        moved = times_s * np.minimum(steps, MOST_STEPS) > self.recovery.time_constant_s
        late = np.flatnonzero(moved & (steps > 1))
        return float(times_s[max(late[0] - 1, 0)] if late.size else times_s[-1])

    def recover(self, seconds: float, current_a: float) -> None:
        """Let the regulation catch up with a mean current for some time."""
        if self.recovery is not None:
            left = math.exp(-seconds / self.recovery.time_constant_s)
            self._settled_a = round(current_a + (self._settled_a - current_a) * left, SETTLED_DIGITS)

    @property
    def v_per_s(self) -> float:
        """How fast its voltage moves."""
        left_v = self.wanted_v - self.present_v
        if left_v == 0:
            return 0.0
        return self.slew.rise_v_per_s if left_v > 0 else -self._fall_v_per_s()

    def move(self, now_s: float) -> float:
        """Move the voltage one step; returns when to move it again, infinity once it is there."""
        seconds, self._moved_s = now_s - self._moved_s, now_s
        left_v = self.wanted_v - self.present_v
        if left_v == 0:
            return math.inf
        rate = self.slew.rise_v_per_s if left_v > 0 else self._fall_v_per_s()
        way_v = min(rate * seconds, abs(left_v))
        if abs(left_v) - way_v < THERE_V:
            self.present_v = self.wanted_v
            return math.inf
        self.present_v += math.copysign(way_v, left_v)
        return now_s + max(min((abs(left_v) - way_v) / rate, self._even_s(rate)), SHORTEST_STEP_S)

    def _even_s(self, rate: float) -> float:
        """How long it moves on as it does, and passes no level."""
        rises = self.wanted_v > self.present_v
        at_its_rate = rate == (self.slew.rise_v_per_s if rises else self.slew.fall_v_per_s)
        sign = 1.0 if rises else -1.0
        gaps_v = [sign * (level_v - self.present_v) for level_v in (self.overvoltage_v, *self.levels_v)]
        if not at_its_rate or not self.present_v or any(-NEAR_V < gap_v <= 0 for gap_v in gaps_v):
            return SLEW_STEP_V / rate
        return min([SLEW_STEP_S, *((gap_v + SLEW_STEP_V / 2) / rate for gap_v in gaps_v if gap_v > 0)])

    def _fall_v_per_s(self) -> float:
        """How fast the supply lets it fall, or slower where a light load leaves its capacitor charged."""
        return min(self.slew.fall_v_per_s, (self.slew.bleed_a + self._drawn_a) / self.slew.capacitance_f)

    def clear(self) -> None:
        """Forget the trips. An output that tripped stays off until it is switched on again."""
        self.overvoltage_tripped = self.overcurrent_tripped = self.watchdog_tripped = False
        self._above_since_s = None

    def watch(self, now_s: float, voltage_v: float, current_a: float) -> bool:
        """Look at the terminals; trip and return True if a protection level is passed."""
        self._drawn_a = current_a
        if not self.live:
            return False
        self.overvoltage_tripped = voltage_v > self.overvoltage_v
        self.overcurrent_tripped = self._too_long(now_s, current_a > self.overcurrent_a)
        if self.tripped:
            self.on, self.changed_s = False, now_s
        if self.overvoltage_tripped:
            self.present_v = 0.0
        return self.tripped

    def _too_long(self, now_s: float, above: bool) -> bool:
        if not above:
            self._above_since_s = None
            return False
        if self._above_since_s is None:
            self._above_since_s = now_s
        return now_s - self._above_since_s >= self.overcurrent_delay_s
