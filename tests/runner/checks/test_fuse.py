"""A fuse may open, or will: judged by the square of the current over time, and told in these two words.

The HX 2150 with 2 ohm at both channels may draw 77.4 A: 1.2 x 250 W x 2 over an efficiency of 0.55 and 14.4 V, and
1.6 A at idle (common practice, as preflight says). The rating of its fuse decides what part of that it is.
"""

from __future__ import annotations

import math

from benchctl.runner.checks.preflight import Preflight
from tests.runner.checks.test_preflight import FIND, SET_2_OHM, checked
from tests.runner.rig import POWER_ON_LINE

WORST_A = 2 * 1.2 * 250.0 / 0.55 / 14.4 + 1.6


def looked_at(*steps: str, fuse_a: float, fuse_type: str = "") -> Preflight:
    """What is said of these steps at full power into 2 ohm."""
    of_type = f", fuse_type: {fuse_type}" if fuse_type else ""
    edit = {"fuse: 80 A": f"fuse: {fuse_a:g} A{of_type}"}
    return checked(POWER_ON_LINE, SET_2_OHM, FIND, *steps, "power_off", amplifier=edit)


def test_113_percent_for_a_second_is_nothing_to_tell() -> None:
    assert math.isclose(WORST_A / 68.5, 1.13, abs_tol=0.005)
    found = looked_at("measure_continuous: {for: 1 s}", fuse_a=68.5)
    assert found.hazards == ()
    assert found.warnings == ()


def test_an_overload_that_a_fast_fuse_does_not_bear_is_a_warning() -> None:
    """193 % for 5 s: a blade may open after less than 0.25 s, and the slowest fuse holds for more than 50 s."""
    found = looked_at("measure_continuous: {for: 5 s}", fuse_a=40.0)
    assert found.hazards == ()
    (told,) = [text for text in found.warnings if "measure_continuous" in text]
    assert told.startswith(
        "4 measure_continuous: this step may draw 77.4 A rms for 5.24 s, 193 % of the amplifier's fuse of 40 A: "
        "the fuse may open (at that current a road-vehicle fuse opens after "
    )


def test_an_overload_that_outlasts_the_slowest_fuse_is_a_hazard() -> None:
    (told,) = looked_at("measure_continuous: {for: 5 min}", fuse_a=40.0).hazards
    assert "this step may draw 77.4 A rms for 5:00 min" in told
    assert "the fuse will open" in told


def test_the_type_of_fuse_tells_more() -> None:
    """What a blade may not bear a large blade does: at 193 % for more than 2 s, and for less than 50 s."""
    step = "measure_continuous: {for: 1500 ms}"
    assert looked_at(step, fuse_a=40.0, fuse_type="large blade").warnings == ()
    assert looked_at(step, fuse_a=40.0, fuse_type="blade").warnings
    longer = "measure_continuous: {for: 20 s}"
    assert looked_at(longer, fuse_a=40.0, fuse_type="blade").hazards
    assert not looked_at(longer, fuse_a=40.0, fuse_type="large blade").hazards


def test_steps_that_follow_each_other_warm_the_fuse_together() -> None:
    """155 % for 6 s is nothing to a large blade, and over a minute it is: between 2 and 60 s it may open."""
    once = looked_at("measure_continuous: {for: 6 s}", fuse_a=50.0, fuse_type="large blade")
    assert once.warnings == ()
    (told,) = looked_at(*["measure_continuous: {for: 6 s}"] * 8, fuse_a=50.0, fuse_type="large blade").warnings
    assert "this step and the " in told
    assert " before it, pauses included, may draw " in told


def test_a_pause_in_which_the_fuse_cools_counts() -> None:
    steps = ["measure_continuous: {for: 6 s}", "hold: {for: 1 min}"] * 8
    assert looked_at(*steps, fuse_a=50.0, fuse_type="large blade").warnings == ()


def test_short_bursts_are_told_by_their_root_mean_square() -> None:
    """Eight cycles of 1 kHz every half second: 1.6 % of the time, 13 % of the burst's current."""
    found = checked(
        POWER_ON_LINE, SET_2_OHM, "measure_burst: {cycles: [8]}", "power_off", amplifier={"fuse: 80 A": "fuse: 25 A"}
    )
    assert not [text for text in (*found.hazards, *found.warnings) if "fuse" in text]


def test_bursts_that_last_for_the_most_of_the_time_are_told() -> None:
    found = checked(
        POWER_ON_LINE, SET_2_OHM, "measure_burst: {cycles: [400]}", "power_off", amplifier={"fuse: 80 A": "fuse: 40 A"}
    )
    assert [text for text in found.warnings if "the fuse may open" in text]


def test_a_fuse_carries_no_more_than_the_supplys_current_limit() -> None:
    edit = {"fuse: 80 A": "fuse: 40 A"}
    power_on = "power_on: {voltage: 14.4 V, current_limit: 44 A}"
    found = checked(power_on, SET_2_OHM, "set: {level: 1 V}", "hold: {for: 2 min}", "power_off", amplifier=edit)
    assert not [text for text in (*found.hazards, *found.warnings) if "fuse" in text]
