"""A limit on how fast a temperature may rise."""

from __future__ import annotations

import pytest

from benchctl.documents.model.limits import TemperatureLimit
from benchctl.errors import LimitTripped
from benchctl.guard.limits import LimitWatch, WatchedLimit
from benchctl.quantity import parse_quantity

PERIOD_S = 1.0


def watch(limit: str = "10 K/min", for_s: float = 0.0) -> LimitWatch:
    bound = TemperatureLimit(rising_k_per_s=parse_quantity(limit, "K/s"), for_s=for_s)
    return LimitWatch(WatchedLimit("heatsink", bound, "sequence"))


def heat(watched: LimitWatch, rate_k_per_min: float, seconds: int, start_c: float = 30.0) -> LimitTripped | None:
    """The first trip while the temperature rises at a constant rate."""
    for second in range(seconds):
        trip = watched.observe(start_c + rate_k_per_min / 60.0 * second, second * PERIOD_S)
        if trip is not None:
            return trip
    return None


def test_a_slower_rise_does_not_trip() -> None:
    assert heat(watch(), 9.0, 600) is None


def test_a_faster_rise_trips_and_says_so() -> None:
    trip = heat(watch(), 12.0, 600)
    assert trip is not None
    assert "rising faster than 10 K/min" in str(trip)


def test_a_rise_at_the_limit_itself_does_not_trip() -> None:
    """A quarter of a kelvin each second is told exactly in binary."""
    assert heat(watch("0.25 K/s"), 15.0, 100) is None


def test_a_rise_is_known_once_it_has_been_seen_for_ten_seconds() -> None:
    trip = heat(watch(), 12.0, 600)
    assert trip is not None
    assert trip.time_s == 10.0


def risen_by_one_kelvin_in_five_seconds(second: int) -> float:
    return 30.0 + 0.2 * min(max(second - 40, 0), 5)


@pytest.mark.parametrize(("limit", "trips"), [("2.9 K/min", True), ("3.1 K/min", False)])
def test_a_rise_is_the_mean_of_twenty_seconds(limit: str, trips: bool) -> None:
    """One kelvin within any twenty seconds is 3 K/min, however steep it was in between."""
    watched = watch(limit)
    found = [watched.observe(risen_by_one_kelvin_in_five_seconds(second), float(second)) for second in range(120)]
    assert any(found) is trips


def test_falling_never_trips() -> None:
    assert heat(watch(), -60.0, 120) is None


def test_one_reading_that_jumps_by_a_digit_is_no_rise() -> None:
    """A tenth of a kelvin in a second would be 6 K/min; over the time that is looked at it is nothing."""
    watched = watch("2 K/min")
    readings = [30.0 + (0.1 if second >= 30 else 0.0) for second in range(120)]
    assert all(watched.observe(value, float(second)) is None for second, value in enumerate(readings))


def test_a_rise_must_last_where_the_limit_says_so() -> None:
    at_once, later = heat(watch(), 20.0, 600), heat(watch(for_s=30.0), 20.0, 600)
    assert at_once is not None
    assert later is not None
    assert later.time_s == pytest.approx(at_once.time_s + 30.0)


def test_a_sensor_that_falls_silent_still_trips() -> None:
    assert watch().observe(None, 0.0) is not None
