"""The limits as bars: how far each reading is on its way to its bound, and what cannot be read shows as passed."""

from __future__ import annotations

import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.console import Console

from benchctl.cli.shown.bars import fraction_used, limits_table
from benchctl.documents.model.limits import CurrentLimit, Limit, TemperatureLimit, VoltageLimit
from benchctl.guard.limits import LimitWatch, WatchedLimit

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
def test_a_bar_is_the_share_of_the_bound_that_is_used(limit: WatchedLimit, value: float | None, used: float) -> None:
    assert fraction_used(watch(limit, value)) == pytest.approx(used)


def test_a_lower_bound_on_the_supply_holds_only_while_the_amplifier_is_on() -> None:
    assert fraction_used(watch(VOLTAGE, 0.02), energised=False) == 0.0
    assert fraction_used(watch(VOLTAGE, 0.02), energised=True) == 1.0


BOUNDS = st.floats(-100.0, 100.0)


@settings(derandomize=True, max_examples=200)
@given(low=BOUNDS, high=BOUNDS, value=st.floats(allow_nan=True, allow_infinity=True))
def test_a_bar_lies_between_empty_and_full_and_is_full_where_the_limit_is_passed(
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


def test_a_reading_that_is_old_is_shown_as_old_and_no_bar_is_drawn_of_it() -> None:
    watches = [watch(CURRENT, 47.5), watch(VOLTAGE, 14.4), watch(OFFSET, 0.02)]
    console = Console(file=io.StringIO(), width=100, color_system=None, legacy_windows=False)
    readings = {"supply_current": 47.5, "supply_voltage": 14.4, "output_offset": 0.02}
    console.print(limits_table(watches, readings, Ages(supply_current=4.2, output_offset=40.0), energised=True))
    assert isinstance(console.file, io.StringIO)
    lines = [line.split() for line in console.file.getvalue().splitlines()]
    assert lines[0] == ["supply_current", "no", "reading", "for", "4", "s", "above", "95", "A"]
    assert lines[1][:3] == ["supply_voltage", "14.4", "V"]
    assert lines[2] == ["output_offset", "20", "mV,", "40", "s", "ago", "outside", "500", "mV"]


def test_the_table_at_a_fixed_width() -> None:
    watches = [watch(CURRENT, 47.5), watch(VOLTAGE, None), watch(OFFSET, None)]
    console = Console(file=io.StringIO(), width=100, color_system=None, legacy_windows=False)
    readings = {"supply_current": 47.5, "supply_voltage": None}
    console.print(limits_table(watches, readings, Ages(), energised=True))
    assert isinstance(console.file, io.StringIO)
    lines = [line.rstrip() for line in console.file.getvalue().splitlines()]
    assert lines == [
        "supply_current  47.5 A        ━━━━━━━━━━━━              above 95 A",
        "supply_voltage  unreadable    ━━━━━━━━━━━━━━━━━━━━━━━━  below 11 V",
        "output_offset   not read yet                            outside 500 mV",
    ]
