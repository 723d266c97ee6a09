"""What a chart says of a phase: too few values, sound ones, one outside, a change."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.measure.control.judging import BASE, FEWEST, FIRM, judge

QUIET = (0.2, -0.3, 0.4, -0.1, 0.1, -0.4, 0.3, -0.2, 0.0, 0.3, -0.4, 0.2)


def test_nothing_is_judged_with_too_few_values() -> None:
    assert judge(QUIET[: FEWEST - 1]).state == "too few"
    assert judge([*QUIET[: FEWEST - 2], 99.0]).limits is None


def test_values_that_scatter_about_their_mean_are_within_provisional_limits() -> None:
    judged = judge(QUIET)
    assert (judged.state, judged.is_firm) == ("within", False)
    assert judge((QUIET * 2)[:FIRM]).is_firm


def test_values_that_are_always_the_same_are_within() -> None:
    assert judge([0.1 + 0.2] * 24).state == "within"
    assert judge([0.3, 0.1 + 0.2] * 12).state == "within"


def test_one_value_outside_is_no_change() -> None:
    values = [*QUIET, 5.0, *QUIET]
    judged = judge(values)
    assert judged.state == "one outside"
    assert judged.signal is not None
    assert judged.signal.first == len(QUIET)
    assert judged.change == pytest.approx(5.0, abs=0.3)


def test_two_of_three_values_outside_are_a_change() -> None:
    assert judge([*QUIET, 5.0, 0.1, 5.2, *QUIET]).state == "changed"
    assert judge([*QUIET, 5.0, 0.1, -5.2, *QUIET]).state == "one outside"


def test_a_small_shift_is_found_by_its_run_on_one_side_and_dated() -> None:
    values = [*(QUIET * 2), *(value + 0.6 for value in QUIET)]
    judged = judge(values)
    assert judged.state == "changed"
    assert judged.signal is not None
    assert judged.signal.is_up
    assert judged.signal.first >= 2 * len(QUIET) - 1
    assert judged.change == pytest.approx(0.6, abs=0.3)


def test_a_change_that_has_gone_again_is_told_from_one_that_goes_on() -> None:
    for_a_time = judge([*QUIET * 3, *(value + 4.0 for value in QUIET), *QUIET])
    assert (for_a_time.state, for_a_time.goes_on) == ("changed", False)
    assert for_a_time.change == pytest.approx(4.0, abs=0.6)  # two values before it lie on the same side
    assert judge([*QUIET, *QUIET, *(value + 4.0 for value in QUIET)]).goes_on


def test_a_slow_drift_is_found() -> None:
    judged = judge([value + 0.1 * place for place, value in enumerate(QUIET * 2)])
    assert judged.state == "changed"
    assert judged.signal is not None
    assert judged.signal.is_up
    assert judged.change == pytest.approx(1.9, abs=0.4)  # from the middle of the first five to that of the last five


def test_limits_stay_as_the_first_values_set_them() -> None:
    base = list((QUIET * 3)[:BASE])
    before, after = judge(base).limits, judge([*base, *[4.0] * 20]).limits
    assert before == after


def test_chance_alone_alarms_as_often_as_the_documentation_says() -> None:
    chance = np.random.default_rng(7870)
    states = [judge(chance.normal(size=24).tolist()).state for _ in range(2000)]
    # docs/drift.md: of 100 series of 24 sound values, 2 are called changed, and 6 more have one value outside.
    assert states.count("changed") / 2000 == pytest.approx(0.02, abs=0.01)
    assert states.count("one outside") / 2000 == pytest.approx(0.06, abs=0.02)
