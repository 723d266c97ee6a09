"""The limits of a run: how far each reading is on its way to its bound, and what cannot be read counts as passed."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchctl.documents.model.limits import CurrentLimit, Limit, TemperatureLimit, VoltageLimit
from benchctl.guard.limits import LimitWatch, WatchedLimit
from benchctl.watch.limits_now import fraction_used, limits_now
from benchctl.watch.now import LimitNow

CURRENT = WatchedLimit("supply_current", CurrentLimit(above=95.0), "sequence")
VOLTAGE = WatchedLimit("supply_voltage", VoltageLimit(below=11.0), "sequence")
OFFSET = WatchedLimit("output_offset", VoltageLimit(outside=0.5), "sequence")


def watch(limit: WatchedLimit, value: float | None) -> LimitWatch:
    watching = LimitWatch(limit)
    watching.observe(value, 0.0)
    return watching


@pytest.mark.parametrize(
    ("limit", "value", "used"),
    [
        (CURRENT, 0.0, 0.0),
        (CURRENT, 47.5, 0.5),
        (CURRENT, 95.0, 1.0),
        (CURRENT, 200.0, 1.0),
        (CURRENT, -3.0, 0.0),
        (VOLTAGE, 22.0, 0.5),
        (VOLTAGE, 11.0, 1.0),
        (VOLTAGE, 10.9, 1.0),
        (OFFSET, 0.25, 0.5),
        (OFFSET, -0.25, 0.5),
        (OFFSET, -0.6, 1.0),
        (CURRENT, None, 1.0),
        (CURRENT, float("nan"), 1.0),
    ],
)
def test_what_is_used_is_the_share_of_the_bound(limit: WatchedLimit, value: float | None, used: float) -> None:
    assert fraction_used(watch(limit, value)) == pytest.approx(used)


def test_a_lower_bound_on_the_supply_holds_only_while_the_amplifier_is_on() -> None:
    assert fraction_used(watch(VOLTAGE, 0.02), energised=False) == 0.0
    assert fraction_used(watch(VOLTAGE, 0.02), energised=True) == 1.0


BOUNDS = st.floats(-100.0, 100.0)


@settings(derandomize=True, max_examples=200)
@given(low=BOUNDS, high=BOUNDS, value=st.floats(allow_nan=True, allow_infinity=True))
def test_it_lies_between_nothing_and_all_and_is_all_where_the_limit_is_passed(
    low: float, high: float, value: float
) -> None:
    bound: Limit = TemperatureLimit(above=high, below=low) if low < high else TemperatureLimit(above=high)
    limit = WatchedLimit("heatsink", bound, "sequence")
    used = fraction_used(watch(limit, value))
    assert 0.0 <= used <= 1.0
    if limit.is_passed(value, energised=True):
        assert used == 1.0


class Ages:
    """Of a supply that has fallen silent, and of an offset that was seen in a record."""

    def __init__(self, **old_s: float) -> None:
        self._old_s = old_s

    def old_s(self, signal: str) -> float | None:
        return self._old_s.get(signal)

    def is_sampled(self, signal: str) -> bool:
        return signal.startswith("supply_")


def test_a_reading_that_is_old_is_told_as_old_and_says_nothing_of_how_much_is_used() -> None:
    watches = [watch(CURRENT, 47.5), watch(VOLTAGE, 14.4), watch(OFFSET, 0.02)]
    readings = {"supply_current": 47.5, "supply_voltage": 14.4, "output_offset": 0.02}
    ages = Ages(supply_current=4.2, output_offset=40.0)
    current, voltage, offset = limits_now(watches, readings, ages, energised=True)
    assert current == LimitNow("supply_current", "no reading for 4 s", "above 95 A", None, is_missing=True)
    assert voltage == LimitNow("supply_voltage", "14.4 V", "below 11 V", pytest.approx(11.0 / 14.4))
    assert offset == LimitNow("output_offset", "20 mV, 40 s ago", "outside 500 mV", None)


def test_what_cannot_be_read_has_used_its_limit_up_and_what_nobody_has_read_yet_says_so() -> None:
    watches = [watch(VOLTAGE, None), watch(OFFSET, None)]
    voltage, offset = limits_now(watches, {"supply_voltage": None}, Ages(), energised=True)
    assert (voltage.reading, voltage.used) == ("unreadable", 1.0)
    assert (offset.reading, offset.used) == ("not read yet", None)


def test_a_limit_that_two_documents_ask_alike_is_told_once() -> None:
    twice = [watch(CURRENT, 47.5), watch(WatchedLimit("supply_current", CurrentLimit(above=95.0), "bench"), 47.5)]
    assert len(limits_now(twice, {"supply_current": 47.5}, Ages(), energised=True)) == 1
