"""The heatsink told from heat and temperature: against an integration of two masses and a sensor by scipy, which shares
nothing with the model, and from dry runs, whose heatsink is known."""

from __future__ import annotations

import math
import shutil
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.reader import load_amplifier
from benchctl.fit.examination import Examination, examine
from benchctl.fit.heat.taken import HeatTaken
from benchctl.fit.heat.telling import HEAT, told_of
from benchctl.fit.since import changes
from benchctl.fit.told import Quantity
from benchctl.launch.run import Documents, run
from benchctl.measure.uncertainty import Accuracy
from benchmarks.fits.drawing import truths_of
from benchmarks.nobody import Nobody

K_PER_W, J_PER_K = 0.55, 900.0
DEVICES_K_PER_W, DEVICES_J_PER_K, SENSOR_S = 0.25, 18.0, 1.0
TRUTHS = {
    "heatsink_resistance": K_PER_W,
    "heatsink_capacity": J_PER_K + DEVICES_J_PER_K,
    "heatsink_lag": DEVICES_K_PER_W * DEVICES_J_PER_K * J_PER_K / (J_PER_K + DEVICES_J_PER_K) + SENSOR_S,
}
AIR_C, TONE_W, IDLE_W = 23.0, 180.0, 24.0
WARMS_S = 30.0
ACCURACIES = {
    "heatsink": (Accuracy(fixed=1.0),),
    "ambient": (Accuracy(fixed=1.0),),
    "supply_current": (Accuracy(reading=0.003, fixed=0.06),),
    "supply_voltage": (Accuracy(reading=0.0005, fixed=0.01),),
}
SEQUENCE = """\
benchctl: sequence 1
title: Warm the heatsink
purpose: Long enough to tell where it ends.
limits:
  supply_current: {above: 60 A, for: 10 s}
  supply_voltage: {below: 10.5 V, for: 500 ms}
  output_offset: {outside: 4 V, for: 5 s}
  heatsink: {above: 85 degC}
steps:
  - power_on: {voltage: 14.4 V, current_limit: 60 A}
  - set: {load: 4 ohm, frequency: 1 kHz}
  - measure_idle: {for: 3 s}
  - soak: {for: 2 min, level: 33 % rated, heatsink: below 85 degC}
  - soak: {for: 3 min, level: 0.8 V, crest_factor: 9 dB, heatsink: below 85 degC}
  - power_off
"""


@pytest.fixture(scope="module")
def hx2150() -> Amplifier:
    return load_amplifier("hx2150")


def warmed(
    seconds: float, k_per_w: float = K_PER_W, offset_k: float = 0.0, step_k: float = 0.0, chance: int = 3
) -> HeatTaken:
    """A tone from `WARMS_S` on, as a thermometer shows it once a second."""

    def slope(time_s: float, at: Sequence[float]) -> list[float]:
        devices, heatsink, sensor = at
        passes_w = (devices - heatsink) / DEVICES_K_PER_W
        heat_w = TONE_W if time_s > WARMS_S else IDLE_W
        return [
            (heat_w - passes_w) / DEVICES_J_PER_K,
            (passes_w - heatsink / k_per_w) / J_PER_K,
            (heatsink - sensor) / SENSOR_S,
        ]

    times_s = np.arange(0.0, seconds + 0.5)
    course = solve_ivp(slope, (0.0, seconds), [0.0] * 3, t_eval=times_s, max_step=0.5, rtol=1e-8)
    noise_k = np.random.default_rng(chance).normal(0.0, 0.02, len(times_s))
    shown_c = AIR_C + course.y[2] + offset_k + noise_k
    ends_s = np.arange(0.5, seconds + 0.25, 0.5)
    heat_w = np.where(ends_s > WARMS_S, TONE_W, IDLE_W)
    none = np.zeros_like(ends_s)
    return HeatTaken(
        ends_s=ends_s,
        step_s=0.5,
        input_w=heat_w + 100.0,
        supply_v=none + 14.4,
        squared_a2=none,
        outputs_w=none + 100.0,
        bursts_w=none,
        figured_w=none,
        figured_u=0.0,
        air_c=none + AIR_C,
        times_s=times_s,
        shown_c=np.round(shown_c / step_k) * step_k if step_k else shown_c,
        outputs_u=0.005,
        missed_j2=none,
        late_s=0.1,
    )


def told(taken: HeatTaken, of: Amplifier) -> dict[str, Quantity]:
    return {each.name: each for each in told_of(taken, of, ACCURACIES, (0.0, 0.0))}


@pytest.mark.parametrize("step_k", [0.0, 0.5])
def test_two_masses_and_a_sensor_integrated_by_scipy_are_told_within_u(hx2150: Amplifier, step_k: float) -> None:
    found = told(warmed(400.0, step_k=step_k), hx2150)
    for name, truth in TRUTHS.items():
        assert found[name].is_told, found[name].untold
        assert abs(found[name].value - truth) < found[name].expanded_uncertainty
        assert found[name].expanded_uncertainty < 0.25 * truth


def test_a_short_run_tells_capacity_and_lag_within_u_whatever_two_sensors_differ_by(hx2150: Amplifier) -> None:
    off = []
    for chance, offset_k in enumerate(np.linspace(-2.0, 2.0, 9)):
        found = told(warmed(100.0, offset_k=float(offset_k), chance=chance), hx2150)
        for name in ("heatsink_capacity", "heatsink_lag"):
            assert found[name].is_told, found[name].untold
            off.append((found[name].value - TRUTHS[name]) / found[name].expanded_uncertainty)
    assert sum(abs(each) > 1.0 for each in off) <= 1
    assert abs(np.mean(off[::2])) < 0.5
    assert abs(np.mean(off[1::2])) < 0.5


def test_readings_of_the_sensor_that_are_older_than_their_rows_are_counted_in_u(hx2150: Amplifier) -> None:
    taken = warmed(120.0)
    in_time, late = (
        told(replace(taken, late_s=late_s), hx2150)["heatsink_capacity"].expanded_uncertainty for late_s in (0.0, 0.3)
    )
    assert late > 1.3 * in_time


def test_heat_that_passed_between_readings_of_the_supply_makes_u_wider(hx2150: Amplifier) -> None:
    taken = warmed(100.0)
    read, missed = (
        told(each, hx2150)["heatsink_capacity"].expanded_uncertainty
        for each in (taken, replace(taken, missed_j2=taken.missed_j2 + 200.0))
    )
    assert missed > 1.3 * read


def test_u_holds_what_two_sensors_may_differ_by(hx2150: Amplifier) -> None:
    found = told(warmed(600.0, offset_k=1.0), hx2150)["heatsink_resistance"]
    assert 0.0 < abs(found.value - K_PER_W) < found.expanded_uncertainty


def test_air_that_nobody_measured_makes_u_wider(hx2150: Amplifier) -> None:
    taken = warmed(400.0)
    known, unknown = (
        told(each, hx2150)["heatsink_resistance"].expanded_uncertainty for each in (taken, replace(taken, air_c=None))
    )
    assert unknown > 1.5 * known


def test_a_run_of_less_than_half_a_time_constant_does_not_tell_the_resistance_to_the_air(hx2150: Amplifier) -> None:
    found = told(warmed(200.0), hx2150)["heatsink_resistance"]
    assert "less than half" in found.untold


def test_heat_of_bursts_that_no_figure_holds_tells_nothing(hx2150: Amplifier) -> None:
    taken = warmed(400.0)
    found = told(replace(taken, bursts_w=0.5 * taken.input_w), hx2150)
    assert all("bursts" in each.untold for each in found.values())


def test_a_temperature_that_does_not_follow_the_heat_tells_nothing(hx2150: Amplifier) -> None:
    taken = warmed(400.0)
    stuck = np.where(taken.times_s > 200.0, taken.shown_c[200], taken.shown_c)
    found = told(replace(taken, shown_c=stuck), hx2150)
    assert all("does not follow the heat" in each.untold for each in found.values())


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A dry run with some minutes of a tone and of bursts, whose steps keep time with the supply's readings."""
    place = tmp_path_factory.mktemp("warmed")
    sequence = place / "warm.yaml"
    sequence.write_text(SEQUENCE, encoding="utf-8")
    these = Documents(str(sequence), "workshop", "hx2150", {})
    return run(these, Nobody(), out=place / "runs", dry_run=True, accepted="a trial").folder


@pytest.fixture(scope="module")
def found(folder: Path) -> Examination:
    return examine(folder)


def test_a_dry_run_tells_the_heatsink_that_it_was_made_with(found: Examination, hx2150: Amplifier) -> None:
    assert hx2150.simulation is not None
    numbers = dict.fromkeys(
        ("rail_stiffness", "reservoir", "saturation", "converter_efficiency", "output_resistance", "soft_knee", "gain"),
        1.0,
    )
    truths = truths_of(hx2150, numbers)
    of_heat = [each for each in found.quantities if each.name in HEAT]
    assert len(of_heat) == len(HEAT)
    for each in of_heat:
        assert each.is_told, each.untold
        assert abs(each.value - truths[each.name, ""]) < each.expanded_uncertainty


def test_a_heatsink_that_is_cooled_worse_is_a_change_with_its_meaning(found: Examination) -> None:
    worse = tuple(
        replace(each, value=1.5 * each.value) if each.name == "heatsink_resistance" else each
        for each in found.quantities
    )
    (change,) = changes(found, replace(found, quantities=worse))
    assert "a fan stands still" in change.sentence


def test_a_run_without_a_sensor_on_the_heatsink_says_so(folder: Path, tmp_path: Path) -> None:
    blind = Path(shutil.copytree(folder, tmp_path / folder.name))
    rows = [line.split(",") for line in (blind / "trend.csv").read_text(encoding="utf-8").splitlines()]
    kept = [place for place, name in enumerate(rows[0]) if name != "heatsink_c"]
    lines = (",".join(row[place] for place in kept) + "\n" for row in rows)
    (blind / "trend.csv").write_text("".join(lines), encoding="utf-8")
    of_heat = [each for each in examine(blind).quantities if each.name in HEAT]
    assert {each.untold for each in of_heat} == {"no sensor was on the heatsink"}
    assert all(math.isnan(each.value) for each in of_heat)
