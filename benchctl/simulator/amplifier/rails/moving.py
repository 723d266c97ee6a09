"""The rail while something else moves evenly: the ratio of a converter that starts softly, or the supply's voltage.

Then dV/dt = f(V, t). Each step follows the solution of the equation that is linear in V and in t (an exponential
Rosenbrock step of an equation that changes with time)::

    V(t) = V0 + slope·g(t) + drift·(g(t) - t)/decay,    g(t) = (exp(decay·t) - 1)/decay

It is exact where source and leads have no resistance, and shortened where f is not as straight as forecast.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchctl.simulator.amplifier.circuit import Circuit, Flows
from benchctl.simulator.amplifier.converter import ConverterDraw
from benchctl.simulator.amplifier.rails.means import (
    NOTICED_S,
    TOLERANCE_V,
    Seen,
    growth,
    passed_s,
    weighted,
)
from benchctl.simulator.amplifier.rails.voltages import Rails, alike

Samples = NDArray[np.float64]

GAUSS = ((0.5 - 0.15**0.5, 5 / 18), (0.5, 8 / 18), (0.5 + 0.15**0.5, 5 / 18))
"""Places in a step and their weights: Gauss-Legendre with three points, exact for polynomials of degree 5."""

SHORTEST_S = 2e-4
"""Rails that are quicker than this follow a ramp so closely that their own course need not be followed."""

GRID = 9
"""Instants in a step between which its currents are straight."""

LEAST_DECAY = 1e-4
"""Below it, in a step, the closed form loses more digits than its series."""


@dataclass(frozen=True, slots=True)
class MovingStep:
    """The rail between two times of its run, while converter and source of its circuit go on moving."""

    start_s: float
    end_s: float
    start_v: float
    slope_v_per_s: float
    decay_per_s: float
    drift_v_per_s2: float
    """how the slope rises with time alone"""
    circuit: Circuit
    """as it is at time 0 of the run"""

    def rail_at(self, time_s: float) -> float:
        """The rail at an instant."""
        since, decay = time_s - self.start_s, self.decay_per_s
        grown = growth(decay, since)
        bent = (grown - since) / decay if abs(decay * since) > LEAST_DECAY else since**2 * (0.5 + decay * since / 6)
        return self.start_v + self.slope_v_per_s * grown + self.drift_v_per_s2 * bent

    def miss(self, part: float) -> float:
        """The error of the forecast of the slope after a part of the step."""
        since = part * (self.end_s - self.start_s)
        rail_v = self.rail_at(self.start_s + since)
        forecast = self.slope_v_per_s + self.decay_per_s * (rail_v - self.start_v) + self.drift_v_per_s2 * since
        return abs(self.circuit.at(rail_v, self.start_s + since).slope_v_per_s - forecast)

    @property
    def end(self) -> Rails:
        """Both rails, as one, when the step ends."""
        return alike(self.rail_at(self.end_s))

    def rails_v(self, times_s: Samples) -> Samples:
        """Both rails in one row, for they are alike."""
        grid_s = self._grid_s()
        return np.interp(times_s, grid_s, [self.rail_at(time_s) for time_s in grid_s])[None]

    def terminals(self, times_s: Samples) -> tuple[Samples, Samples]:
        """Voltage at the amplifier's terminals, and current."""
        grid_s = self._grid_s()
        draws = [self._draw(time_s) for time_s in grid_s]
        voltage_v = np.interp(times_s, grid_s, [draw.terminal_v for draw in draws])
        return np.asarray(voltage_v), np.asarray(np.interp(times_s, grid_s, [draw.supply_a for draw in draws]))

    def supply_sums(self, from_s: float, to_s: float) -> tuple[float, float]:
        """Volts and amperes at the supply's own terminals, in V·s and A·s."""
        seconds = to_s - from_s
        draws = [(weight, self._draw(from_s + place * seconds)) for place, weight in GAUSS]
        volts = sum([weight * self.circuit.supply_v(draw) for weight, draw in draws])
        return volts * seconds, sum([weight * draw.supply_a for weight, draw in draws]) * seconds

    def mean_flows(self) -> Flows:
        """Mean power over the step."""
        seconds = self.end_s - self.start_s
        times_s = [self.start_s + place * seconds for place, _ in GAUSS]
        flows = [self.circuit.flows(self.rail_at(time_s), time_s) for time_s in times_s]
        return weighted([weight for _, weight in GAUSS], flows)

    def departs_s(self, seen: Seen) -> float | None:
        """A current may rise and fall again within a step, so it is looked at more than once in it."""
        grid_s = self._grid_s()
        first = self._seen(seen, grid_s[0])
        later = next((number for number in range(1, GRID) if self._seen(seen, grid_s[number]) != first), None)
        if later is None:
            return None
        return passed_s(grid_s[later - 1], grid_s[later], lambda time_s: self._seen(seen, time_s))

    def until(self, end_s: float) -> MovingStep:
        """The same curve, but it ends sooner."""
        return replace(self, end_s=end_s)

    def _grid_s(self) -> list[float]:
        apart_s = (self.end_s - self.start_s) / (GRID - 1)
        return [*(number * apart_s + self.start_s for number in range(GRID - 1)), self.end_s]

    def _draw(self, time_s: float) -> ConverterDraw:
        return self.circuit.draw(self.rail_at(time_s), time_s)

    def _seen(self, seen: Seen, time_s: float) -> int:
        rail_v = self.rail_at(time_s)
        draw = self.circuit.draw(rail_v, time_s)
        return int(seen(draw.terminal_v, draw.supply_a, rail_v))


def step_moving(circuit: Circuit, rail_v: float, start_s: float, latest_s: float) -> MovingStep:
    """The longest step from `start_s` that keeps the tolerance, to `latest_s` at the latest."""
    slope = circuit.at(rail_v, start_s).slope_v_per_s
    seconds = min(latest_s - start_s, max(circuit.time_constant_s, SHORTEST_S))
    while True:
        end_s = min(start_s + seconds, latest_s)
        # As of the end, for a diode that is about to conduct does not at the start.
        later = circuit.at(rail_v, end_s)
        drift = (later.slope_v_per_s - slope) / seconds
        step = MovingStep(start_s, end_s, rail_v, slope, later.decay_per_s, drift, circuit)
        error_v = max(step.miss(part) for part in (0.5, 1.0)) * growth(later.decay_per_s, seconds)
        if error_v <= TOLERANCE_V or seconds < NOTICED_S / 100:
            return step
        # The error grows with the third power of the step.
        seconds *= min(max(0.8 * (TOLERANCE_V / error_v) ** (1 / 3), 0.1), 0.5)
