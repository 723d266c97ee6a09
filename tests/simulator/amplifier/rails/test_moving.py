"""The rail while a converter starts softly or a supply moves, against scipy's integration of the same laws."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from benchctl.simulator.amplifier.circuit import Circuit
from benchctl.simulator.amplifier.converter import Converter, Source
from benchctl.simulator.amplifier.output_stage import OutputStage
from benchctl.simulator.amplifier.rails.follower import RailFollower
from benchctl.simulator.amplifier.rails.means import NOTICED_S, Values
from benchctl.simulator.amplifier.rails.moving import MovingStep, step_moving
from benchctl.simulator.amplifier.rails.voltages import alike

Samples = NDArray[np.float64]

SUPPLY_V, SOFT_START_S, OPEN_V = 14.4, 0.1, 40.0
OHM, FARADS, EFFICIENCY, SMALL_A, BLEEDER_OHM = 0.36, 0.03, 0.9, 0.3, 2200.0


@dataclass(frozen=True)
class Start:
    """A start to be integrated in time."""

    lead_ohm: float = 0.0
    limit_a: float = 1000.0
    start_v: float = 0.0
    regulates: bool = False

    @property
    def circuit(self) -> Circuit:
        per_s = 1 / SOFT_START_S
        # A converter that regulates could hold its rail down to 10 V.
        ratio = OPEN_V / (10.0 if self.regulates else SUPPLY_V)
        held = {"regulated_v": 0.0, "regulated_v_per_s": OPEN_V * per_s} if self.regulates else {}
        return Circuit(
            source=Source(SUPPLY_V, self.limit_a, self.lead_ohm),
            converter=Converter(0.0, OHM, EFFICIENCY, SMALL_A, ratio_per_s=ratio * per_s, **held),
            stages=(OutputStage(20.0, 0.0, 0.25, 0.0, live=False),),
            reservoir_f=FARADS,
            saturation_v=1.5,
            bias_a=0.0,
            bias_knee_v=10.0,
            bleeder_ohm=BLEEDER_OHM,
        )

    def charge_a(self, time_s: float, rail_v: float) -> float:
        """Into the reservoir: through a resistance from the open rail, no more than the supply's limit allows."""
        open_v = OPEN_V * time_s / SOFT_START_S
        if self.regulates:
            return max(open_v - rail_v, 0.0) / OHM
        ratio = open_v / SUPPLY_V
        # E = n·(Us - Rl·(n·i/eta + I0)) and i = (E - V)/R.
        free_a = (ratio * (SUPPLY_V - self.lead_ohm * SMALL_A) - rail_v) / (OHM + self.lead_ohm * ratio**2 / EFFICIENCY)
        if ratio * free_a / EFFICIENCY + SMALL_A > self.limit_a:
            return (self.limit_a - SMALL_A) * EFFICIENCY / ratio
        return max(free_a, 0.0)

    def integrated(self, times_s: Samples) -> Samples:
        """The rail at each time, by scipy."""

        def change(time_s: float, rail_v: Samples) -> list[float]:
            volts = float(rail_v[0])
            return [(self.charge_a(time_s, volts) - volts / BLEEDER_OHM) / FARADS]

        span_s = (0.0, float(times_s[-1]))
        found = solve_ivp(change, span_s, [self.start_v], t_eval=times_s, rtol=1e-9, atol=1e-9, max_step=1e-3)
        return np.asarray(found.y[0])


STARTS = {
    "on a stiff supply": Start(),
    "behind leads": Start(lead_ohm=0.02),
    "that the supply limits": Start(lead_ohm=0.004, limit_a=25.0),
    "with rails that are still charged": Start(lead_ohm=0.02, start_v=12.0),
    "regulated": Start(regulates=True),
}


def course(start: Start, until_s: float = SOFT_START_S) -> list[MovingStep]:
    """All steps of a start, in runs of 10 ms at most, as the bench looks at it."""
    steps: list[MovingStep] = []
    time_s, rail_v = 0.0, start.start_v
    while time_s < until_s:
        steps.append(step_moving(start.circuit, rail_v, time_s, min(time_s + 0.01, until_s)))
        time_s, rail_v = steps[-1].end_s, steps[-1].end.mean_v
    return steps


@pytest.mark.parametrize("start", STARTS.values(), ids=STARTS)
def test_the_rail_and_the_inrush_are_those_of_an_independent_integration(start: Start) -> None:
    """The rail to a millivolt of 40 V, the current to a ten-thousandth of its highest."""
    steps = course(start)
    times_s = np.array([step.end_s for step in steps])
    expected_v = start.integrated(times_s)
    assert np.array([step.end.mean_v for step in steps]) == pytest.approx(expected_v, abs=1e-3)
    found_a = np.array([step.terminals(step_s[None])[1][0] for step, step_s in zip(steps, times_s, strict=True)])
    open_v = OPEN_V * times_s / SOFT_START_S
    charges_a = np.array([start.charge_a(t, v) for t, v in zip(times_s, expected_v, strict=True)])
    taken_a = (
        open_v * charges_a / EFFICIENCY / SUPPLY_V if start.regulates else open_v / SUPPLY_V * charges_a / EFFICIENCY
    )
    assert found_a == pytest.approx(taken_a + SMALL_A, abs=1e-4 * taken_a.max() + 3e-3 / OHM)


def test_it_takes_some_dozens_of_steps() -> None:
    assert len(course(STARTS["behind leads"])) < 60


def test_a_stiff_supply_charges_the_reservoir_with_an_even_current() -> None:
    """C·dE/dt behind R is reached with R·C: V = k·(t - tau·(1 - exp(-t/tau))), for a rail that nothing loads."""
    tau_s, rise = OHM * FARADS, OPEN_V / SOFT_START_S
    for step in course(STARTS["on a stiff supply"]):
        expected_v = rise * (step.end_s - tau_s * (1 - np.exp(-step.end_s / tau_s)))
        assert step.end.mean_v == pytest.approx(expected_v, abs=2e-2)  # the bleeder takes up to 18 mA meanwhile


@pytest.mark.parametrize("start", STARTS.values(), ids=STARTS)
def test_no_energy_is_lost_or_won(start: Start) -> None:
    """Supplied = lead + heat + what the reservoir gained, to a ten-thousandth."""
    steps = course(start)
    flows = [(step.end_s - step.start_s, step.mean_flows()) for step in steps]
    supplied = sum(seconds * flow.supply for seconds, flow in flows)
    used = sum(seconds * (flow.lead + flow.heatsink) for seconds, flow in flows)
    stored = 0.5 * FARADS * (steps[-1].end.mean_v ** 2 - start.start_v**2)
    assert used + stored == pytest.approx(supplied, rel=1e-4)


def test_the_supply_is_read_back_as_it_was_sampled() -> None:
    for step in course(STARTS["behind leads"], 0.02):
        times_s = np.linspace(step.start_s, step.end_s, 2001)
        voltage_v, current_a = step.terminals(times_s)
        volts, amperes = step.supply_sums(step.start_s, step.end_s)
        seconds = step.end_s - step.start_s
        assert amperes / seconds == pytest.approx(current_a.mean(), rel=2e-3)
        assert volts / seconds == pytest.approx((voltage_v + 0.02 * current_a).mean(), rel=1e-5)


def test_the_instant_at_which_a_level_is_passed_is_found_within_a_step() -> None:
    """The current passes 5 A once, on its way to about 30 A."""

    def seen(_terminal_v: object, supply_a: Values, _rail_v: object) -> NDArray[np.int64]:
        return np.asarray(supply_a > 5.0, dtype=np.int64)

    found = [(step, step.departs_s(seen)) for step in course(STARTS["behind leads"])]
    ((step, departed_s),) = [(step, at_s) for step, at_s in found if at_s is not None]
    times_s = np.array([departed_s - NOTICED_S, departed_s])
    before_a, after_a = step.terminals(np.maximum(times_s, step.start_s))[1]
    assert before_a <= 5.0 < after_a


def test_the_rail_behind_a_supply_on_its_way_is_that_of_an_independent_integration() -> None:
    """From 10.8 V upwards at 50 V/s, with 20 V into 4 ohm: a mean of 2/pi times the peak."""
    lead_ohm, ratio, v_per_s, load_a = 0.02, OPEN_V / SUPPLY_V, 50.0, 2 / np.pi * 20.0 / 4.0
    circuit = replace(
        STARTS["behind leads"].circuit,
        source=Source(10.8, 1000.0, lead_ohm, v_per_s=v_per_s),
        converter=Converter(ratio, OHM, EFFICIENCY, SMALL_A),
        stages=(OutputStage(20.0, 0.0, 0.25, 0.0),),
    )

    def change(time_s: float, rail_v: Samples) -> list[float]:
        source_v = 10.8 + v_per_s * time_s - lead_ohm * SMALL_A
        charge_a = (ratio * source_v - float(rail_v[0])) / (OHM + lead_ohm * ratio**2 / EFFICIENCY)
        return [(max(charge_a, 0.0) - load_a - float(rail_v[0]) / BLEEDER_OHM) / FARADS]

    curve = RailFollower().curve(circuit, alike(28.0), 0.0, 0.07)
    times_s = np.array([step.end_s for step in curve.steps])
    expected_v = solve_ivp(change, (0.0, 0.07), [28.0], t_eval=times_s, rtol=1e-9, atol=1e-9, max_step=1e-3).y[0]
    assert [step.end.mean_v for step in curve.steps] == pytest.approx(expected_v, abs=1e-3)
