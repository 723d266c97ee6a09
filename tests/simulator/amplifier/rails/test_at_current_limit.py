"""Two rails that share what a supply at its current limit still gives, against scipy's integration of the same laws."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from benchctl.simulator.amplifier.circuit import Circuit
from benchctl.simulator.amplifier.converter import Converter, Source
from benchctl.simulator.amplifier.output_stage import OutputStage
from benchctl.simulator.amplifier.rails.follower import RailFollower
from benchctl.simulator.amplifier.rails.trace import steady
from benchctl.simulator.amplifier.rails.voltages import alike

Samples = NDArray[np.float64]

SUPPLY_V, RATIO, OPEN_V = 15.0, 2.0, 30.0
ASKED_V, LOAD_OHM, FREQUENCY_HZ = 20.0, 4.0, 1e3
START_V = 22.0


@dataclass(frozen=True)
class Limited:
    """A tone into one output takes 6.4 A from the supply, or less where the rails clip it; the supply gives less."""

    limit_a: float
    rail_ohm: float
    rail_f: float

    @property
    def circuit(self) -> Circuit:
        return Circuit(
            source=Source(SUPPLY_V, self.limit_a, 0.0),
            converter=Converter(RATIO, self.rail_ohm / 2, 1.0, 0.0),
            stages=(OutputStage(ASKED_V, 0.0, 1 / LOAD_OHM, 0.0),),
            reservoir_f=2 * self.rail_f,
            saturation_v=0.0,
            bias_a=0.0,
            bias_knee_v=1e-9,
            bleeder_ohm=1e12,
            frequency_hz=FREQUENCY_HZ,
        )

    def charges_a(self, rails_v: Samples) -> Samples:
        """Into each rail: from the open voltage through its resistance, or its share of what the limit leaves."""
        free_a = np.maximum(OPEN_V - rails_v, 0.0) / self.rail_ohm
        left_a = self.limit_a / RATIO
        if free_a.sum() <= left_a:
            return free_a
        more_a = (rails_v[::-1] - rails_v) / (2 * self.rail_ohm)
        return np.clip(left_a / 2 + more_a, 0.0, left_a)

    def change(self, time_s: float, rails_v: Samples) -> Samples:
        asked_v = ASKED_V * math.sin(2 * math.pi * FREQUENCY_HZ * time_s)
        loads_a = np.clip([asked_v, -asked_v], 0.0, rails_v) / LOAD_OHM
        return np.asarray((self.charges_a(rails_v) - loads_a) / self.rail_f)

    def end_v(self, seconds: float, begin_v: Samples) -> Samples:
        found = solve_ivp(self.change, (0.0, seconds), begin_v, rtol=1e-7, atol=1e-7, max_step=2e-5)
        return np.asarray(found.y[:, -1])


@pytest.mark.parametrize("limit_a", [5.0, 6.0, 6.3])
@pytest.mark.parametrize(("rail_ohm", "rail_f"), [(0.04, 0.002), (0.5, 0.01)])
def test_rails_share_what_a_supply_at_its_limit_gives(limit_a: float, rail_ohm: float, rail_f: float) -> None:
    limited = Limited(limit_a, rail_ohm, rail_f)
    end = RailFollower().curve(limited.circuit, alike(START_V), 0.0, 0.0303).end
    assert tuple(end) == pytest.approx(limited.end_v(0.0303, np.full(2, START_V)).tolist(), abs=0.01)


@pytest.mark.parametrize(("limit_a", "start_v"), [(5.0, 5.0), (1000.0, 15.0)])
def test_the_cycle_that_repeats_is_found_from_far_away(limit_a: float, start_v: float) -> None:
    """Beyond the bend where a diode blocks nothing holds a rail, and a guess without bounds flies off."""
    limited = Limited(limit_a, 0.04, 0.002)
    begin_v = steady(limited.circuit, alike(start_v), 257).reservoirs_v[:, 0]
    assert limited.end_v(1 / FREQUENCY_HZ, begin_v) == pytest.approx(begin_v, abs=1e-3)


def test_a_tone_of_a_minute_at_the_limit_is_followed_only_until_its_cycle_repeats() -> None:
    """60 000 cycles; the rails come together within some hundreds, by the reservoirs over the limit's deficit."""
    curve = RailFollower().curve(Limited(5.0, 0.04, 0.002).circuit, alike(START_V), 0.0, 60.0)
    assert len(curve.steps) < 600
