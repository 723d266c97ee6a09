"""What the prediction of a final temperature promises."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from scipy.optimize import curve_fit

from benchctl.errors import MeasurementError
from benchctl.measure.signal.thermal import Curve, heating, predict_final_temperature


def _warming(
    random: np.random.Generator, spans: float, scatter_k: float = 0.05
) -> tuple[np.ndarray, np.ndarray, float, float]:
    """Times, readings, end and slow time constant of a two-stage warming or cooling seen for `spans` of the latter."""
    fast_s = random.uniform(5.0, 60.0)
    slow_s = fast_s * random.uniform(4.0, 20.0)
    end_c, sign = random.uniform(30.0, 90.0), random.choice([1.0, -1.0])
    times_s = np.linspace(0.0, spans * slow_s, 300)
    rest_k = random.uniform(10.0, 60.0) * np.exp(-times_s / slow_s) + random.uniform(0.0, 15.0) * np.exp(
        -times_s / fast_s
    )
    return times_s, end_c - sign * rest_k + scatter_k * random.standard_normal(300), end_c, slow_s


@cache
def scores(spans: float) -> tuple[list[float], list[float]]:
    """Of 40 warmings and coolings, how far the end found lies from the true one, in expanded uncertainties, and the
    logarithm of the slow time constant, in standard ones."""
    random = np.random.default_rng(20)
    ends, constants = [], []
    for _ in range(40):
        times_s, temperatures_c, end_c, slow_s = _warming(random, spans)
        found = predict_final_temperature(times_s, temperatures_c)
        ends.append((found.final_c - end_c) / found.expanded_uncertainty_k)
        constants.append(math.log(found.time_constants_s[0] / slow_s) / found.time_constants_u[0])
    return ends, constants


@pytest.mark.parametrize("spans", [0.5, 1.0, 2.0, 4.0])
def test_the_end_lies_within_the_stated_uncertainty_about_as_often_as_it_promises(spans: float) -> None:
    """Of 40 warmings and coolings at least 36: fewer would be odd for a coverage of 95 %."""
    ends, _ = scores(spans)
    assert sum(abs(score) <= 1.0 for score in ends) >= 36


@pytest.mark.parametrize("spans", [2.0, 4.0])
def test_the_slow_time_constant_lies_within_the_stated_uncertainty_about_as_often_as_it_promises(spans: float) -> None:
    """As for the end; the logarithm of a time constant is known alike to both sides."""
    _, constants = scores(spans)
    assert sum(abs(score) <= 2.0 for score in constants) >= 36
    assert np.std(constants) > 0.6, "and it is not wide for nothing"


def test_the_uncertainty_narrows_as_the_curve_bends() -> None:
    random = np.random.default_rng(21)
    times_s, temperatures_c, _, slow_s = _warming(random, 4.0)
    uncertainties_k = []
    for spans in (0.5, 1.0, 2.0, 4.0):
        seen = times_s <= spans * slow_s
        uncertainties_k.append(predict_final_temperature(times_s[seen], temperatures_c[seen]).expanded_uncertainty_k)
    assert uncertainties_k == sorted(uncertainties_k, reverse=True)
    assert uncertainties_k[-1] < 0.2


def test_waiting_can_end_long_before_the_temperature_arrives() -> None:
    """A single stage of 600 s seen for 20 minutes still has 6.8 K to go; its end is known to 0.5 K all the same."""
    random = np.random.default_rng(22)
    times_s = np.arange(0.0, 1200.0, 2.0)
    temperatures_c = 75.0 - 50.0 * np.exp(-times_s / 600.0) + 0.05 * random.standard_normal(times_s.size)
    prediction = predict_final_temperature(times_s, temperatures_c)
    assert prediction.is_good_to(0.5)
    assert prediction.final_c == pytest.approx(75.0, abs=0.5)
    assert prediction.now_c == pytest.approx(75.0 - 50.0 * math.exp(-1198.0 / 600.0), abs=0.1)


def test_a_straight_rise_gives_no_end_worth_believing() -> None:
    """Nobody can tell where a curve ends that has not begun to bend."""
    times_s = np.arange(0.0, 60.0, 1.0)
    temperatures_c = 25.0 + 0.2 * times_s + 0.1 * np.random.default_rng(23).standard_normal(60)
    assert not predict_final_temperature(times_s, temperatures_c).is_good_to(10.0)


def test_a_single_stage_agrees_with_the_least_squares_of_scipy() -> None:
    random = np.random.default_rng(24)
    times_s = np.linspace(0.0, 900.0, 200)
    temperatures_c = 60.0 - 30.0 * np.exp(-times_s / 300.0) + 0.02 * random.standard_normal(200)
    best, _ = curve_fit(lambda t, end, a, tau: end + a * np.exp(-t / tau), times_s, temperatures_c, p0=(70, -40, 200))
    prediction = predict_final_temperature(times_s, temperatures_c)
    assert prediction.final_c == pytest.approx(best[0], abs=prediction.expanded_uncertainty_k)
    assert max(prediction.time_constants_s) == pytest.approx(best[2], rel=0.02)


def test_a_temperature_that_has_arrived_needs_no_more_time() -> None:
    times_s = np.arange(0.0, 300.0, 5.0)
    temperatures_c = 45.0 + 0.02 * np.random.default_rng(26).standard_normal(times_s.size)
    prediction = predict_final_temperature(times_s, temperatures_c)
    assert prediction.now_c == pytest.approx(45.0, abs=0.05)


def test_a_coarse_thermometer_is_not_trusted_beyond_its_resolution() -> None:
    """Readings rounded to 1 K that happen to lie still have no scatter, and yet an uncertainty."""
    times_s = np.arange(0.0, 300.0, 5.0)
    prediction = predict_final_temperature(times_s, np.full(times_s.size, 45.0), resolution_k=1.0)
    assert prediction.expanded_uncertainty_k > 0.1


def test_thousands_of_readings_are_as_good_as_their_means() -> None:
    random = np.random.default_rng(27)
    times_s = np.linspace(0.0, 2000.0, 10007)
    temperatures_c = 75.0 - 50.0 * np.exp(-times_s / 500.0) + 0.1 * random.standard_normal(times_s.size)
    prediction = predict_final_temperature(times_s, temperatures_c)
    assert abs(prediction.final_c - 75.0) <= prediction.expanded_uncertainty_k < 0.2


@pytest.mark.parametrize(
    ("times_s", "temperatures_c"),
    [
        ([0.0, 1.0, 2.0], [20.0, 21.0, 22.0]),
        (list(range(10)), [20.0] * 9 + [math.nan]),
        ([0.0] * 10, [20.0] * 10),
        (list(range(10)), [20.0] * 11),
    ],
    ids=["too few", "not a number", "time stands still", "unlike lengths"],
)
def test_series_that_tell_nothing_are_a_named_error(times_s: list[float], temperatures_c: list[float]) -> None:
    with pytest.raises(MeasurementError):
        predict_final_temperature(times_s, temperatures_c)


COOLING = Curve(final_c=25.0, amplitudes_k=(40.0,), time_constants_s=(600.0,))


def test_a_single_stage_reaches_a_temperature_after_its_logarithm() -> None:
    """25 + 40 exp(-t/600) = 45 at t = 600 ln 2."""
    assert COOLING.reaches_s(45.0) == pytest.approx(600.0 * math.log(2.0), rel=1e-6)
    assert COOLING.reaches_s(65.0) == 0.0


def test_a_temperature_beyond_the_end_or_behind_is_never_reached() -> None:
    assert COOLING.reaches_s(24.0) is None
    assert COOLING.reaches_s(70.0) is None


def test_a_single_stage_is_steady_when_the_while_takes_less_than_the_change() -> None:
    """40 (1 - exp(-60/600)) exp(-t/600) = 1 K over a minute."""
    by_hand_s = 600.0 * math.log(40.0 * (1.0 - math.exp(-0.1)))
    assert COOLING.steadies_s(1.0, 60.0) == pytest.approx(by_hand_s, rel=1e-6)
    assert COOLING.steadies_s(10.0, 60.0) == 0.0


def test_no_temperature_is_steady_to_nothing() -> None:
    with pytest.raises(MeasurementError):
        COOLING.steadies_s(0.0, 60.0)


def test_constant_heat_leads_to_the_resistance_times_it_above_the_air() -> None:
    """100 W through 0.5 K/W are 50 K; after one time constant 1/e of the way is left."""
    curve = heating(now_c=25.0, ambient_c=25.0, heat_w=100.0, k_per_w=0.5, time_constant_s=600.0)
    assert (curve.now_c, curve.final_c) == (25.0, 75.0)
    assert curve.temperature_c(600.0) == pytest.approx(75.0 - 50.0 / math.e)


def test_a_heatsink_does_not_care_in_how_many_pieces_its_time_is_reckoned() -> None:
    whole = heating(40.0, 25.0, 80.0, 0.5, 600.0).temperature_c(500.0)
    middle_c = heating(40.0, 25.0, 80.0, 0.5, 600.0).temperature_c(200.0)
    assert heating(middle_c, 25.0, 80.0, 0.5, 600.0).temperature_c(300.0) == pytest.approx(whole)
