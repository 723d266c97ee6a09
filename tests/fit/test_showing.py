"""What instruments show of what there truly is, and how that moves."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.fit.parameters import Parameter, Parameters, Samples
from benchctl.fit.plausible import SINES, gain_of, range_gain_of, steps_of, zero_of
from benchctl.fit.reading.items import VOLTAGE, Item, Scale
from benchctl.fit.showing import Rows, Showing

STEP_V = 0.2
SCALE = Scale(VOLTAGE, 0.02, "50 V", 0.003, 0.3, steps_u=0.06, step=STEP_V)
LEVELS_V = np.linspace(13.8, 14.4, 61)


def parameters(*supplies_v: float) -> Parameters:
    return Parameters(
        [
            Parameter(gain_of(SCALE), 0.0, 0.02, reach="scale"),
            Parameter(range_gain_of(SCALE), 0.0, 0.003, reach="scale"),
            Parameter(zero_of(SCALE), 0.0, 0.3, reach="scale"),
            *(
                Parameter(steps_of(SCALE, each, sine), 0.0, 0.06, reach="scale")
                for each in supplies_v
                for sine in SINES
            ),
        ]
    )


def showing(of: Parameters, levels_v: Samples = LEVELS_V, *supplies_v: float) -> Showing:
    item = Item(VOLTAGE, levels_v, np.full(len(levels_v), 0.02), SCALE)
    return Showing(of, [Rows(place, item, place * len(levels_v), each) for place, each in enumerate(supplies_v)])


def sine_left_of(noise_v: float) -> tuple[Samples, Samples]:
    """What steps leave in means of many samples with this noise, and the nearest of the sines that are fitted."""
    chance = np.random.default_rng(1)
    seen_v = LEVELS_V[:, None] + noise_v * chance.standard_normal((len(LEVELS_V), 4000))
    off_v = STEP_V * np.round(seen_v / STEP_V).mean(axis=1) - LEVELS_V
    of = parameters(14.4)
    columns = np.zeros((len(LEVELS_V), len(of)))
    showing(of, LEVELS_V, 14.4).columns(columns, LEVELS_V)
    sines = columns[:, [of.place(steps_of(SCALE, 14.4, sine)) for sine in SINES]]
    return off_v, sines @ np.linalg.lstsq(sines, off_v, rcond=None)[0]


def test_what_steps_leave_in_a_mean_is_a_sine_of_the_level() -> None:
    off_v, sine_v = sine_left_of(0.2 * STEP_V)
    # Carbone and Petri, IEEE Trans. Instrum. Meas. 43, 1994: its size is step/pi exp(-2 (pi noise/step)^2).
    assert np.abs(sine_v).max() == pytest.approx(STEP_V / np.pi * np.exp(-2.0 * (0.2 * np.pi) ** 2), rel=0.05)
    assert np.abs(off_v - sine_v).max() < 0.03 * STEP_V


def test_slopes_are_those_of_what_is_shown() -> None:
    of = parameters(14.4)
    shows = showing(of, LEVELS_V, 14.4)
    values = np.array([0.01, -0.002, 0.2, 0.03, -0.02])
    ahead, behind = (shows.shown(LEVELS_V + by, values) for by in (1e-6, -1e-6))
    assert shows.rises(LEVELS_V, values) == pytest.approx((ahead - behind) / 2e-6, rel=1e-6)
    columns = np.zeros((len(LEVELS_V), len(of)))
    shows.columns(columns, LEVELS_V)
    for place, each in enumerate(of.each):
        moved = values.copy()
        moved[place] += each.spread
        assert columns[:, place] == pytest.approx(
            shows.shown(LEVELS_V, moved) - shows.shown(LEVELS_V, values), abs=1e-9
        )


def test_steps_at_one_supply_voltage_say_nothing_of_those_at_another() -> None:
    of = parameters(10.5, 14.4)
    columns = np.zeros((2 * len(LEVELS_V), len(of)))
    showing(of, LEVELS_V, 10.5, 14.4).columns(columns, np.concatenate([LEVELS_V, LEVELS_V]))
    low = columns[:, of.place(steps_of(SCALE, 10.5, "sine"))]
    assert low[: len(LEVELS_V)].any()
    assert not low[len(LEVELS_V) :].any()
