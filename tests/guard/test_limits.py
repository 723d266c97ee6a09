"""When a limit counts as passed."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.documents.model.limits import CurrentLimit, Limit, TemperatureLimit, VoltageLimit
from benchctl.errors import LimitTripped
from benchctl.guard.limits import SUPPLY_PROTECTION, TOO_LATE, LimitWatch, WatchedLimit, limits_of, unwatched_limits_of
from benchctl.guard.sampler import PROTECTION_PERIOD_S
from tests.runner.ordinary import NO_THERMOMETER
from tests.runner.rig import amplifier_file, bench_file, sequence_file

PERIOD_S = 0.2  # between readings in these tests, as the guard takes them


def watch_on(bound: Limit, signal: str = "heatsink") -> LimitWatch:
    return LimitWatch(WatchedLimit(signal, bound, "sequence"))


def tripped_at(watch: LimitWatch, readings: list[float | None], *, energised: bool = True) -> float | None:
    """The time of the reading that trips, one reading a period from 0 s on."""
    for number, value in enumerate(readings):
        if watch.observe(value, number * PERIOD_S, energised=energised):
            return round(number * PERIOD_S, 9)
    return None


def test_a_limit_without_a_time_trips_at_the_first_reading_beyond_it() -> None:
    assert tripped_at(watch_on(TemperatureLimit(above=85.0)), [84.0, 85.0, 85.1, 20.0]) == 0.4


@pytest.mark.parametrize(("value", "is_passed"), [(85.0, False), (85.5, True)])
def test_a_reading_whose_error_is_not_given_is_held_against_the_limit_as_it_is(value: float, is_passed: bool) -> None:
    """As the panel shows it."""
    limit = WatchedLimit("heatsink", TemperatureLimit(above=85.0), "amplifier")
    assert limit.is_passed(value, energised=True) is is_passed


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (90.0, "heatsink is 90 degC ± 0.56 degC at 12.3 s; the limit: heatsink above 85 degC (of the sequence file)"),
        (None, "heatsink cannot be read at 12.3 s; the limit: heatsink above 85 degC (of the sequence file)"),
    ],
)
def test_a_trip_says_the_reading_with_its_error_in_two_digits(value: float | None, words: str) -> None:
    assert str(watch_on(TemperatureLimit(above=85.0)).observe(value, 12.34, 0.5555)) == words


def test_a_reading_that_came_too_late_is_not_called_unreadable() -> None:
    trip = watch_on(TemperatureLimit(above=85.0)).observe(None, 12.34, why=TOO_LATE)
    assert str(trip) == "heatsink came too late at 12.3 s; the limit: heatsink above 85 degC (of the sequence file)"


def test_a_limit_with_a_time_trips_once_it_has_been_passed_for_so_long() -> None:
    assert tripped_at(watch_on(CurrentLimit(above=95.0, for_s=0.4)), [90.0, 96.0, 96.0, 96.0, 96.0]) == 0.6


def test_a_reading_within_the_limit_begins_the_time_anew() -> None:
    readings: list[float | None] = [96.0, 96.0, 94.0, 96.0, 96.0, 94.0]
    assert tripped_at(watch_on(CurrentLimit(above=95.0, for_s=0.4)), readings) is None


def test_sums_of_sampling_periods_do_not_make_a_trip_one_reading_late() -> None:
    """0.2 s added up three times falls short of 0.6 s in binary."""
    watch = watch_on(CurrentLimit(above=95.0, for_s=0.6))
    times_s = [0.0, 0.2, 0.4, 0.2 + 0.2 + 0.2 - 2e-16]
    assert [watch.observe(96.0, time_s) is not None for time_s in times_s] == [False, False, False, True]


@pytest.mark.parametrize("reading", [None, math.nan, math.inf, -math.inf])
def test_what_cannot_be_read_is_passed(reading: float | None) -> None:
    assert tripped_at(watch_on(TemperatureLimit(above=85.0)), [20.0, reading]) == 0.2


def test_what_cannot_be_read_counts_as_passed_since_its_last_good_reading() -> None:
    """A reading that comes after seconds of silence is not the first moment of trouble."""
    watch = watch_on(CurrentLimit(above=95.0, for_s=0.5))
    assert watch.observe(10.0, 1.0) is None
    assert watch.observe(None, 7.0) is not None


def test_one_reading_lost_does_not_trip_a_limit_that_may_be_passed_for_longer() -> None:
    assert tripped_at(watch_on(CurrentLimit(above=95.0, for_s=0.5)), [10.0, None, 10.0, 10.0, 10.0]) is None


@pytest.mark.parametrize("value", [-0.6, 0.6])
def test_outside_looks_to_both_sides_of_zero(value: float) -> None:
    assert tripped_at(watch_on(VoltageLimit(outside=0.5), "output_offset"), [0.4, -0.4, value]) == 0.4


def test_a_lower_limit_on_the_supply_holds_only_while_the_amplifier_is_on() -> None:
    def watch() -> LimitWatch:
        return watch_on(VoltageLimit(below=11.0), "supply_voltage")

    assert tripped_at(watch(), [0.0, 0.0], energised=False) is None
    assert tripped_at(watch(), [0.0, 0.0], energised=True) == 0.0


def test_an_upper_limit_on_the_supply_holds_always() -> None:
    assert tripped_at(watch_on(VoltageLimit(above=16.0), "supply_voltage"), [16.1], energised=False) == 0.0


def test_an_unreadable_supply_trips_even_while_the_amplifier_is_off() -> None:
    assert tripped_at(watch_on(VoltageLimit(below=11.0), "supply_voltage"), [None], energised=False) == 0.0


def test_a_supply_at_its_upper_limit_has_not_passed_it() -> None:
    assert tripped_at(watch_on(VoltageLimit(above=16.0), "supply_voltage"), [16.0], energised=False) is None


def test_an_amplifier_counts_as_on_unless_it_is_said_to_be_off() -> None:
    assert watch_on(VoltageLimit(below=11.0), "supply_voltage").observe(0.0, 0.0) is not None


def test_a_lower_limit_on_a_temperature_holds_always() -> None:
    assert tripped_at(watch_on(TemperatureLimit(below=5.0)), [4.0], energised=False) == 0.0


def test_a_trip_names_limit_value_unit_time_and_the_file_that_set_it() -> None:
    trip = watch_on(TemperatureLimit(above=85.0)).observe(90.5, 12.34)
    assert isinstance(trip, LimitTripped)
    assert (trip.limit, trip.value, trip.unit, trip.time_s) == ("heatsink", 90.5, "degC", 12.34)
    assert str(trip) == "heatsink is 90.5 degC at 12.3 s; the limit: heatsink above 85 degC (of the sequence file)"


def test_a_trip_of_what_cannot_be_read_says_so_and_gives_no_value() -> None:
    trip = watch_on(TemperatureLimit(above=85.0)).observe(None, 1.0)
    assert trip is not None
    assert trip.value is None
    assert "heatsink cannot be read" in str(trip)


def test_the_limits_of_all_three_files_hold_together() -> None:
    """The bench's and the amplifier's own limits hold under every sequence."""
    sequence = sequence_file("power_off", limits={"heatsink": "{above: 60 degC}"})
    found = {
        (limit.signal, limit.bound.high, limit.origin) for limit in limits_of(sequence, bench_file(), amplifier_file())
    }
    assert found == {
        ("heatsink", 60.0, "sequence"),
        ("supply_current", 110.0, "bench"),
        ("load", 180.0, "bench"),
        ("heatsink", 85.0, "amplifier"),
        ("supply_protection", 0.0, "bench"),  # the supply's own: none of them may trip
    }


@settings(derandomize=True, deadline=None, max_examples=200)
@given(
    readings=st.lists(st.one_of(st.none(), st.floats(0.0, 200.0)), max_size=30),
    for_periods=st.integers(min_value=0, max_value=6),
)
def test_a_limit_trips_exactly_when_readings_beyond_it_span_its_time(
    readings: list[float | None], for_periods: int
) -> None:
    """Against a plain count: numbers count from the first beyond the limit, silence from the last within it."""
    watch = watch_on(CurrentLimit(above=95.0, for_s=for_periods * PERIOD_S), "supply_current")
    since: int | None = None
    expected = None
    for number, value in enumerate(readings):
        if value is not None and value <= 95.0:
            since = None
        elif since is None:
            follows_good = number > 0 and (readings[number - 1] is not None)
            since = number - 1 if value is None and follows_good else number
        if since is not None and number - since >= for_periods:
            expected = round(number * PERIOD_S, 9)
            break
    assert tripped_at(watch, readings) == expected


def test_a_protection_of_the_supply_trips_at_once_and_one_that_cannot_be_read_only_after_a_while() -> None:
    """A supply that says so has been asked twice."""
    (protection,) = (
        limit
        for limit in limits_of(sequence_file("power_off"), bench_file(), amplifier_file())
        if limit.signal == SUPPLY_PROTECTION
    )
    (trip,) = [LimitWatch(protection).observe(1.0, 12.0)]
    assert str(trip) == (
        "the supply's own protection (over-voltage or over-current) has switched its output off, seen at 12.0 s"
    )
    unread = LimitWatch(protection)
    readings = [(None, 0.0), (None, PROTECTION_PERIOD_S), (None, 2 * PROTECTION_PERIOD_S)]
    assert [unread.observe(*reading) is not None for reading in readings] == [False, False, True]
    assert str(protection.bound) == "none may trip"


def test_without_a_thermometer_the_other_limits_still_hold() -> None:
    bench = bench_file()
    instruments = bench.instruments.model_copy(update={"thermometer": None})
    bare = bench.model_copy(update={"instruments": instruments})
    signals = {limit.signal for limit in limits_of(sequence_file("power_off"), bare, amplifier_file())}
    assert {"heatsink", "supply_current", SUPPLY_PROTECTION} <= signals


def test_a_limit_on_what_the_files_say_is_not_watched_is_named_among_those_that_do_not_hold() -> None:
    sequence = sequence_file("power_off", limits={"heatsink": "{above: 80 degC}"})
    documents = sequence, bench_file(NO_THERMOMETER), amplifier_file()
    not_held = {(limit.signal, limit.origin) for limit in unwatched_limits_of(*documents)}
    assert not_held == {("heatsink", "sequence"), ("heatsink", "amplifier")}
    assert "heatsink" not in {limit.signal for limit in limits_of(*documents)}
    assert unwatched_limits_of(sequence, bench_file(), amplifier_file()) == []


# -- readings whose error is known ----------------------------------------------------------------------------------

DC = WatchedLimit("output_offset", VoltageLimit(outside=0.5), "sequence")


@pytest.mark.parametrize(
    ("reading", "error", "passed"),
    [(0.7, 0.1, True), (-0.7, 0.1, True), (0.7, 0.3, False), (-0.7, 0.3, False), (0.4, 5.0, False), (30.0, 5.0, True)],
)
def test_a_reading_passes_a_limit_where_it_is_beyond_it_by_more_than_its_error(
    reading: float, error: float, passed: bool
) -> None:
    assert DC.is_passed(reading, error, energised=True) is passed


@pytest.mark.parametrize("error", [math.nan, math.inf])
def test_a_reading_whose_error_is_not_a_number_passes(error: float) -> None:
    assert DC.is_passed(0.0, error, energised=True)


def test_a_trip_tells_the_error_of_its_reading() -> None:
    trip = LimitWatch(DC).observe(1.25, 7.0, 0.31)
    assert str(trip).startswith("output_offset is 1.25 V ± 310 mV at 7.0 s; the limit: ")
